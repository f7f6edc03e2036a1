"""Where wishes come from: keys of a terminal, read one by one without waiting, or the lines of a pipe."""

from __future__ import annotations

import os
import queue
import select
import sys
import threading
import time
from collections.abc import Callable
from types import TracebackType
from typing import TextIO

from axledger.terminal.keys import Presses, Wish, parse_command, wish_of_key

__all__ = ["KeyInput", "LineInput", "wish_input"]

_NUMBER_STARTS = tuple("0123456789+-.")


class KeyInput:
    """Single keys of a terminal. As a context manager it switches line editing and echo off, and back on.

    A colon begins a line that ends with Enter and is read like a line of a pipe (``:move 3 F0L>S1Rf``); meanwhile
    ``typing`` holds what was typed so far, for the view to show. Backspace takes a letter back, Escape the line.
    """

    def __init__(self, stream: TextIO, *, now_ns: Callable[[], int] = time.monotonic_ns) -> None:
        self._stream = stream
        self._now_ns = now_ns
        self._presses = Presses()
        self._restore: Callable[[], None] = lambda: None
        self.ended = False
        self.typing: str | None = None

    def __enter__(self) -> KeyInput:
        if sys.platform != "win32":
            self._restore = _unbuffered(self._stream.fileno())
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._restore()

    def wishes(self) -> list[Wish]:
        """Return what was asked for since the last call; never waits."""
        if sys.platform == "win32":
            pressed = _keys_waiting()
        else:
            pressed = self._typed()
        wanted = [self._wish(key) for key in pressed]
        return [wish for wish in wanted if wish is not None]

    def _wish(self, key: str) -> Wish | None:
        if self.typing is not None:
            return self._line_key(key, self.typing)
        if key == ":":
            self.typing = ""
            return None
        return wish_of_key(key) if self._presses.counts(key, self._now_ns()) else None

    def _line_key(self, key: str, so_far: str) -> Wish | None:
        if key in "\r\n":
            self.typing = None
            return parse_command(so_far)
        self.typing = so_far[:-1] if key in "\b\x7f" else so_far + key
        return None

    def _typed(self) -> str:
        descriptor = self._stream.fileno()
        typed = b""
        while not self.ended and select.select([descriptor], [], [], 0)[0]:
            piece = os.read(descriptor, 64)
            self.ended = not piece
            typed += piece
        if b"\x1b" in typed:
            self.typing = None
        # an escape sequence (arrow and function keys) is one key without meaning, not several with some
        return typed.split(b"\x1b", 1)[0].decode("ascii", "ignore")


if sys.platform == "win32":
    import msvcrt

    def _keys_waiting() -> str:
        typed = ""
        while msvcrt.kbhit():
            key = msvcrt.getwch()
            if key in ("\x00", "\xe0"):  # arrow and function keys come as two
                msvcrt.getwch()
            else:
                typed += key
        return typed

else:
    import termios
    import tty

    def _unbuffered(descriptor: int) -> Callable[[], None]:
        """Switch the terminal to single keys; return what switches it back."""
        before = termios.tcgetattr(descriptor)
        tty.setcbreak(descriptor)
        return lambda: termios.tcsetattr(descriptor, termios.TCSADRAIN, before)


class LineInput:
    """Lines of a pipe or file. A thread reads them, since a pipe cannot be asked on every system whether it waits.

    Lines that begin like a number go to ``reading`` (an instrument that is typed), where there is one; what follows
    such a line comes with the next call, as it may depend on what became of the reading.
    """

    def __init__(self, stream: TextIO, reading: Callable[[str], None] | None = None) -> None:
        self._stream = stream
        self._reading = reading
        self._lines: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self.ended = False

    def __enter__(self) -> LineInput:
        threading.Thread(target=self._read, name="command lines", daemon=True).start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Leave the reading thread to the end of its stream; it holds nothing but that."""

    def _read(self) -> None:
        try:
            for line in self._stream:
                self._lines.put(line)
        except (OSError, ValueError):
            pass  # the stream was closed under the reader: the same as its end
        self._lines.put(None)

    def wishes(self, wait_s: float = 0.0) -> list[Wish]:
        """Return what was asked for, waiting up to ``wait_s`` for the first line.

        Raises ``BadInput`` for a line that cannot be used; the lines after it come with the next call.
        """
        wanted: list[Wish] = []
        while not self.ended:
            try:
                line = self._lines.get(timeout=wait_s) if wait_s > 0 and not wanted else self._lines.get_nowait()
            except queue.Empty:
                break
            if line is None:
                self.ended = True
            elif self._reading is not None and line.lstrip()[:1] in _NUMBER_STARTS:
                self._reading(line)
                break
            elif (wish := parse_command(line)) is not None:
                wanted.append(wish)
                break  # one wish at a time: a later line may depend on what the earlier one does
        return wanted


def wish_input(stream: TextIO, reading: Callable[[str], None] | None = None) -> KeyInput | LineInput:
    """Return the input that fits: keys of a terminal, else lines.

    With ``reading``, values are typed too, and that takes lines on a terminal as well.
    """
    return KeyInput(stream) if stream.isatty() and reading is None else LineInput(stream, reading)
