"""Which exceptions are a person's input that cannot be used, as opposed to a defect of ours."""


class RefusedError(Exception):
    """What was asked on the command line cannot be done; the message is one clear sentence."""


def sentence(error: Exception) -> str | None:
    """The one sentence to tell, or None if the error is a defect and its traceback is needed."""
    from evenfield.body import InputError
    from evenfield.clinic.home import HomeError
    from evenfield.tissue import TissueError

    if isinstance(error, RefusedError | InputError | TissueError | HomeError):
        return " ".join(str(error).split())
    return None
