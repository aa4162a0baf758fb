"""What the commands that record a sitting answer."""

from propagation import codes
from propagation.models import Plug


def session_answer(session) -> dict:
    """The session's number and the code of every plug, as it is printed."""
    bare = Plug.objects.filter(cut_event__session=session).order_by("cut_event", "id").values_list("code", flat=True)
    return {"session": session.pk, "codes": [codes.in_clear(code) for code in bare]}


def lines_of_session(answer):
    count = len(answer["codes"])
    yield f"Session {answer['session']} is saved with {count} plug{'' if count == 1 else 's'}:"
    yield from answer["codes"]
