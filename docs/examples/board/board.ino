// An example to begin from, not a product. Try every path of it before a relay of it drives anything.
#include <avr/wdt.h>

struct Relay { const char *name; uint8_t pin, rest; };  // rest: the pin's level while the coil has no current
const Relay RELAYS[] = {{"fan", 7, LOW}, {"agitation", 8, LOW}};
const uint8_t LEVEL_PIN = 4;  // a contact to ground, closed when healthy
const uint16_t LONGEST = 250;
bool emf(long &tenthsUv);     // Write these two by the manual of your chip. They return at once what was last
bool junction(long &tenthsC); // measured, and false where there is nothing, such as at an open sensor.

char line[LONGEST + 1];
uint16_t length = 0, number = 0;
uint32_t heardMs = 0, keepMs = 0, beats = 0;  // keepMs 0: not armed

uint8_t checkSum(const char *body, uint16_t size) {
  uint8_t sum = 0;
  while (size--) sum ^= uint8_t(*body++);
  return sum;
}

char *bodyOf(char *text, uint16_t size) {  // the body of exactly one whole sentence with the right check sum
  if (size < 9 || size > LONGEST || text[0] != '$' || text[size - 5] != '*' || text[size - 2] != '\r') return nullptr;
  for (uint16_t i = 1; i < size - 5; i++)
    if (text[i] < ' ' || text[i] > '~' || text[i] == '$' || text[i] == '*') return nullptr;
  char sum[3];
  snprintf(sum, sizeof sum, "%02X", checkSum(text + 1, size - 6));
  if (text[size - 4] != sum[0] || text[size - 3] != sum[1]) return nullptr;
  text[size - 5] = 0;
  return text + 1;
}

bool wholeNumber(const char *text, uint32_t most, uint32_t &value) {
  value = 0;
  if (!*text || (*text == '0' && text[1])) return false;
  for (; *text; text++)
    if (*text < '0' || *text > '9' || (value = value * 10 + uint32_t(*text - '0')) > most) return false;
  return true;
}

void say(const char *word, uint16_t of, const char *fields, bool isAnswer) {
  char whole[96];
  int size = snprintf(whole, sizeof whole - 5, "$%s,%u,%s*", word, unsigned(of), fields);
  size += snprintf(whole + size, 5, "%02X\r\n", checkSum(whole + 1, size - 2));
  if (isAnswer || Serial.availableForWrite() >= size) Serial.write(whole, size);  // no room: left out, not sent late
}

void switchTo(const Relay &relay, bool on) { digitalWrite(relay.pin, on ? !relay.rest : relay.rest); }

void obey(char *body) {
  char *count = strchr(body, ','), *field = count ? strchr(count + 1, ',') : nullptr;
  if (!field) return;
  *count++ = *field++ = 0;
  bool isKeep = !strcmp(body, "KEEP");
  uint32_t of, ms;
  if (!(isKeep || !strcmp(body, "SET")) || !wholeNumber(count, 65535, of)) return;  // our own echo is no host
  heardMs = millis();
  if (isKeep && !wholeNumber(field, 60000, ms)) return say("NOT", of, "2", true);
  if (isKeep) { keepMs = ms; return say("DONE", of, field, true); }
  for (const Relay &relay : RELAYS) {
    size_t size = strlen(relay.name);
    if (strncmp(field, relay.name, size) || field[size] != '=') continue;
    const char *value = field + size + 1;
    if (strcmp(value, "0") && strcmp(value, "1")) return say("NOT", of, "2", true);
    switchTo(relay, *value == '1');
    return say("DONE", of, field, true);
  }
  say("NOT", of, "1", true);
}

void hear() {
  for (uint8_t most = 64; most && Serial.available(); most--) {  // bytes without end do not hold up the rest
    char byte = Serial.read();
    if (length <= LONGEST) line[length++] = byte;  // one byte more than fits marks a line that is too long
    if (byte != '\n') continue;
    if (char *body = bodyOf(line, length)) obey(body);
    length = 0;
  }
}

void decimal(char *out, const char *before, long tenths) {
  sprintf(out, "%s%s%ld.%ld", before, tenths < 0 ? "-" : "", labs(tenths) / 10, labs(tenths) % 10);
}

void tell() {
  char e1[20] = "e1=", cj[20] = "cj=", fields[60];
  long tenths;
  if (emf(tenths)) decimal(e1, "e1=", tenths);
  if (junction(tenths)) decimal(cj, "cj=", tenths);
  sprintf(fields, "%s,%s,level=%d", e1, cj, digitalRead(LEVEL_PIN) == LOW);
  say("READ", number++, fields, false);
}

void beat() {
  char seconds[16];
  decimal(seconds, "", ++beats * 5);  // counted, because millis() begins anew after 49 days as if it were a reset
  say("BEAT", number++, seconds, false);
}

void setup() {
  for (const Relay &relay : RELAYS) { switchTo(relay, false); pinMode(relay.pin, OUTPUT); }  // before all else
  pinMode(LEVEL_PIN, INPUT_PULLUP);
  wdt_enable(WDTO_1S);
  Serial.begin(115200);
}

void loop() {
  static uint32_t beatMs = millis(), readMs = millis();
  wdt_reset();
  uint32_t now = millis();
  if (keepMs && now - heardMs >= keepMs)  // before hear(): a time that has run out is not forgiven
    for (const Relay &relay : RELAYS) switchTo(relay, false);
  hear();
  if (now - beatMs >= 500) { beatMs += 500; beat(); }
  if (now - readMs >= 250) { readMs += 250; tell(); }
}
