"""The one error that people see: an input that cannot be used, said in one sentence."""


class BadInput(Exception):
    """Something given to the tool cannot be used.

    The message is one complete sentence for the person at the keyboard. The command line prints it
    and exits with code 2; nothing has been written half-way when it is raised.
    """
