"""Exit codes of `setscrew`, the same for every subcommand."""

OK = 0
USAGE = 2  # the words of the call are wrong (argparse's own code)
INPUT = 3  # a file or study that was named cannot be used; the message says which and what to do
BUSY = 4  # another process holds the study
THIN = 5  # it worked, but the data are too thin or too damaged for an answer
INTERRUPTED = 130  # Ctrl+C, or a request to end, before it was done
