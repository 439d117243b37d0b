"""The command `harpkeys`, and `python -m harpkeys`: the command line behind a guard against Ctrl-C.

While the command line runs, an interrupt is raised in it, so that it cleans up. While it is still imported,
and while the interpreter winds up after it, there is nothing to clean up: there an interrupt ends the process
at once, without the traceback that Python would show. Nothing guards what stands at the top of this module,
so it imports only what Python itself has imported by then.
"""

import os
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from types import FrameType

INTERRUPTED = 130
AGAIN_AFTER = 0.01
"""Seconds after which an interrupt is raised again that could not be raised."""

_running = False


def main() -> int:
    """Run the command line with the words of this process.

    Returns:
        The exit code.
    """
    global _running
    try:
        sys.unraisablehook = _not_raised
        _guard()
        from harpkeys.cli import main as run_command_line

        _running = True
        code = run_command_line()
        _running = False
        _forget_interrupts()
        return code
    except KeyboardInterrupt:
        os._exit(INTERRUPTED)


def _guard() -> None:
    import signal

    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:  # else ignored, as behind a shell's "&"
        signal.signal(signal.SIGINT, _interrupt)
    if hasattr(signal, "pthread_sigmask"):
        # scripts/run.py holds interrupts back until they can be answered.
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})


def _interrupt(number: int, frame: "FrameType | None") -> None:
    if not _running:
        os._exit(INTERRUPTED)
    while frame is not None:
        if frame.f_code.co_filename.startswith("<frozen importlib"):
            # A module that is interrupted as it is imported may make another error of it.
            _interrupt_later()
            return
        frame = frame.f_back
    raise KeyboardInterrupt


def _not_raised(failure: "sys.UnraisableHookArgs") -> None:
    """Raise an interrupt again that fell into a callback out of which Python raises nothing.

    There are such in the freeing of objects; Python would tell of the interrupt, and go on.
    """
    if failure.exc_type is KeyboardInterrupt:
        _interrupt_later()
    else:
        sys.__unraisablehook__(failure)


def _forget_interrupts() -> None:
    """Raise no interrupt again: what it was to end has ended."""
    import signal

    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_REAL, 0)


def _interrupt_later() -> None:
    import signal

    if not _running or not hasattr(signal, "setitimer"):
        os._exit(INTERRUPTED)
    # It comes as the same signal again, since that may be held back by then.
    signal.signal(signal.SIGALRM, lambda number, frame: signal.raise_signal(signal.SIGINT))
    signal.setitimer(signal.ITIMER_REAL, AGAIN_AFTER)


if __name__ == "__main__":
    sys.exit(main())
