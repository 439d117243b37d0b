"""Run harpkeys, or its tests, from a fresh checkout: standard library only.

    python3 scripts/run.py vet corpus/NAME.musicxml --harp 34
    python3 scripts/run.py test

The first run makes a private environment `.venv` in the checkout and installs the package into it, with exact
versions of what it needs (scripts/constraints.txt); later runs start at once. A stamp in the environment says
what was installed, so a changed pyproject.toml or constraints file installs again. Needs Python 3.11 or more.
"""

# This file must parse on Pythons too old to run harpkeys, so that they can be told so in a sentence.

import os
import sys

if __name__ == "__main__" and os.name == "posix":
    # Python would answer an interrupt by a traceback, here and while it starts again to run harpkeys. So they
    # are held back until the command can answer them, or until this has something to do that takes time.
    import _signal  # what the module signal is made of: that one takes a while to import

    _signal.pthread_sigmask(_signal.SIG_BLOCK, [_signal.SIGINT])

import hashlib
import signal
import subprocess

CHECKOUT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
OLDEST = (3, 11)


class SetupError(Exception):
    """The environment cannot be made; the message is one sentence for the user."""


def main(arguments):
    """Make the environment if needed and run; returns the exit code (2 where it cannot be made)."""
    if not arguments or arguments[0] in ("-h", "--help"):
        print(__doc__.strip())
        return 0
    try:
        if sys.version_info < OLDEST:
            raise SetupError(
                f"harpkeys needs Python {OLDEST[0]}.{OLDEST[1]} or later and this is "
                f"{sys.version_info[0]}.{sys.version_info[1]}; run this script with a later one"
            )
        if arguments[0] == "test":
            ensure_environment("test")
            let_interrupts_through()
            return run([venv_python(), "-m", "pytest", "-n", "auto", *arguments[1:]], CHECKOUT)
        ensure_environment("")
        return run([venv_python(), "-m", "harpkeys", *arguments], os.getcwd())
    except SetupError as error:
        sys.stderr.write(f"{error}.\n")
        return 2
    except KeyboardInterrupt:
        return 130


def environment():
    """Directory of the private environment."""
    return os.path.join(CHECKOUT, ".venv")


def venv_python():
    """The environment's interpreter."""
    if os.name == "nt":
        return os.path.join(environment(), "Scripts", "python.exe")
    return os.path.join(environment(), "bin", "python")


def fingerprint():
    """What an installed environment depends on, as a hash: requirements, exact versions, this Python."""
    digest = hashlib.sha256(repr(sys.version_info[:2]).encode())
    for name in ("pyproject.toml", os.path.join("scripts", "constraints.txt")):
        with open(os.path.join(CHECKOUT, name), "rb") as file:
            digest.update(file.read() + b"\0")
    return digest.hexdigest()


def stamp_path(extra):
    """Where it is noted that the environment was installed with an extra ("" for the plain package)."""
    return os.path.join(environment(), f"harpkeys-{extra or 'plain'}.stamp")


def is_ready(extra, wanted):
    """Whether the environment holds what is wanted; one made for the tests serves the plain package too."""
    for path in (stamp_path(extra), stamp_path("test")):
        try:
            with open(path) as file:
                if file.read() == wanted and os.path.exists(venv_python()):
                    return True
        except OSError:
            continue
    return False


def ensure_environment(extra):
    """Make or renew the environment unless its stamp says that it is ready.

    Raises:
        SetupError: it cannot be made, or pip cannot install into it.
    """
    wanted = fingerprint()
    if is_ready(extra, wanted):
        return
    let_interrupts_through()
    sys.stderr.write(f"Setting up {os.path.relpath(environment())} (once; a minute or so) ...\n")
    if not works(venv_python(), "pip"):
        make_environment()
    target = CHECKOUT + (f"[{extra}]" if extra else "")
    constraints = os.path.join(CHECKOUT, "scripts", "constraints.txt")
    pip_install(["--constraint", constraints, "--editable", target])
    # Compiled here once, for those who keep Python from writing bytecode: it takes longer than vetting.
    subprocess.call([venv_python(), "-m", "compileall", "-q", os.path.join(CHECKOUT, "harpkeys")])
    with open(stamp_path(extra), "w") as file:
        file.write(wanted)


def let_interrupts_through():
    """End the holding back of interrupts; one that came meanwhile is raised here."""
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, [signal.SIGINT])


def works(python, module):
    """Whether an interpreter exists, runs and has a module."""
    try:
        return subprocess.call([python, "-c", "import " + module], stderr=subprocess.DEVNULL) == 0
    except OSError:
        return False


def make_environment():
    """Create the environment afresh, with pip.

    Raises:
        SetupError: this Python lacks venv or ensurepip, or the directory cannot be written.
    """
    for module in ("venv", "ensurepip"):
        if not works(sys.executable, module):
            raise SetupError(
                f"This Python has no {module} module, so no private environment can be made; install it (on "
                "Debian and Ubuntu it is the package python3-venv) and run this again"
            )
    finished = subprocess.run(
        [sys.executable, "-m", "venv", "--clear", environment()],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    if finished.returncode:
        raise SetupError("The environment cannot be made: " + last_line(finished.stdout))


def pip_install(arguments):
    """Install quietly into the environment.

    Raises:
        SetupError: with the last thing that pip said.
    """
    command = [venv_python(), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    finished = subprocess.run(command + arguments, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    if finished.returncode:
        raise SetupError(
            f"pip cannot install what harpkeys needs: {last_line(finished.stdout)}; check the network and "
            "run this again"
        )


def last_line(output):
    """The last error line that a program printed, without its full stop."""
    lines = [line.strip() for line in output.decode(errors="replace").splitlines() if line.strip()]
    errors = [line for line in lines if line.startswith("ERROR")]
    return (errors or lines or ["it gave no reason"])[-1].rstrip(".")


def run(command, directory):
    """Run in a directory with this terminal, and return the exit code."""
    if os.name == "nt":
        return subprocess.call(command, cwd=directory)
    os.chdir(directory)
    sys.stdout.flush()
    return os.execv(command[0], command)  # replaces this process, so that signals reach the program itself


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
