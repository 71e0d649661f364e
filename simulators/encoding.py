"""How a value lies in registers: whole numbers and IEEE 754 floats, in any order of bytes and words."""

from __future__ import annotations

import struct
from dataclasses import dataclass

KINDS = ("uint16", "int16", "uint32", "int32", "float32")
# Which byte of the value, counted from its most significant, comes first, second, third and fourth on the wire.
_BYTES = {"ABCD": (0, 1, 2, 3), "CDAB": (2, 3, 0, 1), "BADC": (1, 0, 3, 2), "DCBA": (3, 2, 1, 0)}
ORDERS = tuple(_BYTES)
_FORMATS = {"uint16": ">H", "int16": ">h", "uint32": ">I", "int32": ">i", "float32": ">f"}
_LIMITS = {
    "uint16": (0, 0xFFFF),
    "int16": (-0x8000, 0x7FFF),
    "uint32": (0, 0xFFFF_FFFF),
    "int32": (-0x8000_0000, 0x7FFF_FFFF),
}
_SWAPPED_16 = {"BADC", "DCBA"}


@dataclass(frozen=True, slots=True)
class Encoding:
    """A value = count x step + offset; the count is of this kind and lies in this order.

    A 16-bit count knows no order of words: its bytes change places in BADC and DCBA.
    """

    kind: str = "uint16"
    order: str = "ABCD"
    step: float = 1.0
    offset: float = 0.0

    @property
    def words(self) -> int:
        """How many registers it takes."""
        return 1 if self.kind.endswith("16") else 2

    @property
    def full_scale(self) -> int:
        """The pattern of bits of the largest count that it can show; a float32's is the largest finite one."""
        return 0x7F7F_FFFF if self.kind == "float32" else _LIMITS[self.kind][1]

    def raw(self, value: float) -> int:
        """The pattern of bits that shows a value; what lies beyond the kind's range shows its end."""
        count = (value - self.offset) / self.step
        if self.kind == "float32":
            return int.from_bytes(struct.pack(">f", count))
        low, high = _LIMITS[self.kind]
        return int.from_bytes(struct.pack(_FORMATS[self.kind], min(max(round(count), low), high)))

    def value(self, raw: int) -> float:
        """The value that a pattern of bits shows; may be no finite number in a float32."""
        (count,) = struct.unpack(_FORMATS[self.kind], raw.to_bytes(2 * self.words))
        return float(count) * self.step + self.offset

    def on_wire(self, raw: int) -> list[int]:
        """The registers that hold a pattern of bits, in the order of their addresses."""
        data = raw.to_bytes(2 * self.words)
        if self.words == 1:
            return [int.from_bytes(data[::-1] if self.order in _SWAPPED_16 else data)]
        moved = bytes(data[place] for place in _BYTES[self.order])
        return [int.from_bytes(moved[:2]), int.from_bytes(moved[2:])]

    def from_wire(self, words: list[int]) -> int:
        """The pattern of bits that these registers hold. Each order is its own inverse."""
        data = b"".join(word.to_bytes(2) for word in words)
        if self.words == 1:
            return int.from_bytes(data[::-1] if self.order in _SWAPPED_16 else data)
        return int.from_bytes(bytes(data[place] for place in _BYTES[self.order]))
