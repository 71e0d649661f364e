"""A slave for tests on a third library, umodbus, in a thread behind a pseudo-terminal."""

from __future__ import annotations

import os
import select
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

from umodbus.server.serial import get_server
from umodbus.server.serial.rtu import RTUServer


class MasterEnd:
    """What the umodbus server takes for a serial port: the far end of a pseudo-terminal."""

    baudrate = 115200
    timeout = 0.01
    inter_byte_timeout = 0.0

    def __init__(self, fd: int, units: set[int], delay_s: float) -> None:
        self._fd = fd
        self._units = units
        self._delay_s = delay_s

    def read(self, size: int) -> bytes:
        """One request, if it is for a unit that is there; a real slave does not answer for others."""
        ready, _, _ = select.select([self._fd], [], [], self.timeout)
        try:
            data = os.read(self._fd, size) if ready else b""
        except OSError:  # nobody holds the near end just now
            time.sleep(0.001)
            return b""
        return data if data and data[0] in self._units else b""

    def write(self, data: bytes) -> None:
        """Send an answer, after the time that the device takes."""
        time.sleep(self._delay_s)
        os.write(self._fd, data)


@contextmanager
def umodbus_slave(registers: dict[tuple[int, int], int], delay_s: float = 0.0) -> Iterator[str]:
    """Serve (unit, address) to value, registers 16 to 18 writable; yields the port of the near end."""
    master, slave = os.openpty()
    units = {unit for unit, _ in registers}
    server = get_server(RTUServer, MasterEnd(master, units, delay_s))
    addresses = sorted({address for _, address in registers})

    @server.route(slave_ids=sorted(units), function_codes=[3, 4], addresses=addresses)  # type: ignore[untyped-decorator]
    def read(slave_id: int, function_code: int, address: int) -> int:
        return registers[slave_id, address]

    @server.route(slave_ids=sorted(units), function_codes=[6], addresses=[16, 17, 18])  # type: ignore[untyped-decorator]
    def write(slave_id: int, function_code: int, address: int, value: int) -> None:
        registers[slave_id, address] = value

    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield os.ttyname(slave)
    finally:
        server.shutdown()
        thread.join()
        os.close(slave)
        os.close(master)
