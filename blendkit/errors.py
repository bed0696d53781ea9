"""Every error that blendkit raises on purpose, and the exit code that each one ends with.

::

    BlendkitError                 exit 2
    ├── InputError                exit 2   a file, mask or option that cannot be used
    ├── OutputError               exit 2   a result that cannot be written
    └── AlignmentError            exit 3   two frames that cannot be laid on each other

A message names the value that is wrong and the next step, in one line, because the command line
prints it as it is.  Anything else that leaves the package is a defect.
"""

EXIT_OK = 0
EXIT_BAD_INPUT = 2
EXIT_NOT_ALIGNED = 3
EXIT_SOME_PAIRS_FAILED = 4
EXIT_INTERRUPTED = 130
"""128 + 2, as shells count a program that Ctrl-C ended (common practice, no source)."""

NO_MEMORY = "the memory did not suffice: close other programs, use fewer --jobs or smaller frames"
_OPENCV_NO_MEMORY = -4
_NO_MEMORY_WORDS = (
    "can't start new thread",
    "failed to map segment",
    "Cannot allocate memory",
    # The network's runtime says it in C++'s words or in its own.
    "bad_alloc",
    "bad allocation",
    "Failed to allocate memory",
)


class BlendkitError(Exception):
    """Base of all errors raised on purpose; its message is one line for the user."""

    exit_code = EXIT_BAD_INPUT

    def __init__(self, message: str = "") -> None:
        # A value that is quoted from a file may hold line breaks; the sentence may not.
        super().__init__(" ".join(str(message).splitlines()))


def out_of_memory(error: BaseException) -> bool:
    """Whether an error says that memory did not suffice, whichever library raised it.

    What a library raises on its way out has the reason behind it.
    """
    reason: BaseException | None = error
    while reason is not None:
        if (
            isinstance(reason, MemoryError)
            or getattr(reason, "code", None) == _OPENCV_NO_MEMORY
            or any(words in str(reason) for words in _NO_MEMORY_WORDS)
        ):
            return True
        reason = reason.__cause__ or reason.__context__
    return False


def lacked_memory(error: BaseException) -> bool:
    """Whether an error that no reader and no writer has explained says the same.

    What a decoder finds wrong with a file is an InputError by then; a codec's own error that comes
    this far is an encoder's, or that of loading it, and they fail for want of memory.
    """
    return out_of_memory(error) or type(error).__module__.partition(".")[0] == "imagecodecs"


class InputError(BlendkitError):
    """A file, mask, tag or option that cannot be used as it is."""


class OutputError(BlendkitError):
    """A result that cannot be written where it was asked for."""


class AlignmentError(BlendkitError):
    """Two frames that cannot be laid on each other; the message says why and what to try.

    reason: why, without what to try; cure: what to try on the command line, "" if the reason says.
    """

    exit_code = EXIT_NOT_ALIGNED

    def __init__(self, message: str = "", *, cure: str = "") -> None:
        super().__init__(f"{message}; {cure}" if cure else message)
        self.reason = message
        self.cure = cure

    def with_cure(self, cure: str) -> str:
        """Return the message for where no command line is at hand: another cure, if it had one."""
        return f"{self.reason}; {cure}" if self.cure else str(self)
