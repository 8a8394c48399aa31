"""How a command ends: exit statuses, one line for every error, and Ctrl-C."""

from __future__ import annotations

import os
import signal
import sys
from types import FrameType
from typing import Any, NoReturn

import click

from ..errors import Cancelled, RequestError

OK, STOP, REFUSED, INTERRUPTED = 0, 1, 2, 130
"""Exit statuses: done; a stop finding; a request that cannot be met; stopped by Ctrl-C."""


class StopKey:
    """Ctrl-C while a command runs: interrupts the work, until writing has begun.

    `pressed` outlives libraries that swallow the interrupt or turn it into an error of their own. Once
    `too_late` is called, what is being written is finished and the command ends as it would.
    """

    def __init__(self) -> None:
        self.pressed = False
        self._heard = True

    def __enter__(self) -> None:
        self._before = signal.signal(signal.SIGINT, self._press)

    def __exit__(self, *error: object) -> None:
        signal.signal(signal.SIGINT, self._before)

    def check(self) -> None:
        """Raise Cancelled when the key was pressed."""
        if self.pressed:
            raise Cancelled

    def too_late(self) -> None:
        """From here on the command is finished, whatever is pressed."""
        self._heard = False
        self.check()

    def _press(self, number: int, frame: FrameType | None) -> None:
        if self._heard:
            self.pressed = True
            raise KeyboardInterrupt


class Commands(click.Group):
    """Turns every error into one line on standard error and an exit status; never a traceback.

    Its commands receive the `StopKey` as click's object.
    """

    def invoke(self, ctx: click.Context) -> Any:
        """Take Ctrl-C and a reader that left before click makes an empty line or a status 1 of them."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            raise Cancelled from None
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # what is left goes nowhere
            return OK

    def main(self, *args: Any, **kwargs: Any) -> NoReturn:
        """Run a command and end the process with its status."""
        for stream in (sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="replace")  # a terminal without × still shows the numbers
        stop_key = StopKey()
        try:
            with stop_key:
                status = super().main(*args, **(kwargs | {"standalone_mode": False, "obj": stop_key}))
        except click.exceptions.Exit as left:
            sys.exit(left.exit_code)
        except click.UsageError as error:
            asked = f" See {error.ctx.command_path} --help." if error.ctx else ""
            sys.exit(_refuse(f"{error.format_message()}{asked}"))
        except click.ClickException as error:
            sys.exit(_refuse(error.format_message()))
        except RequestError as error:
            sys.exit(_refuse(str(error)))
        except (KeyboardInterrupt, click.Abort, Cancelled):
            sys.exit(_interrupted())
        except Exception as error:
            if stop_key.pressed:
                sys.exit(_interrupted())
            if os.environ.get("MOLDPREP_TRACEBACK"):
                raise
            sys.exit(_refuse(_unexpected(error)))
        sys.exit(status if isinstance(status, int) else OK)


def _refuse(text: str) -> int:
    click.echo(" ".join(text.split()), err=True)
    return REFUSED


def _interrupted() -> int:
    click.echo("Stopped; nothing was written.", err=True)
    return INTERRUPTED


def _unexpected(error: Exception) -> str:
    if isinstance(error, MemoryError):
        return "The machine's memory is too small for this form. Reduce its mesh, or close other programs."
    return (
        f"moldprep failed: {type(error).__name__}: {error}. Please report it, with the form and the job; "
        "MOLDPREP_TRACEBACK=1 shows where."
    )
