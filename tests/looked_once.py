"""The same pixels give the same labels and the same outline: a picture that many tests start from is looked at once.

What is kept is only what the pure functions of `propagation.imaging` returned for these very arguments; whatever is
done with it is done anew. The functions themselves are tested in `tests/imaging/`, where nothing is kept.
"""

import contextlib
import copy
import functools
import hashlib
import pickle
from collections import OrderedDict
from unittest import mock

from propagation.actions import look_into_photo, measure_photo

MOST = 64  # answers; a picture of the tests has a megabyte, its answer some kilobytes
LOOKS = [(look_into_photo, "read_labels"), (measure_photo, "read_labels")]
LOOKS += [(measure_photo, "propose"), (measure_photo, "propose_box")]


def once(function):
    """The function, which remembers what it answered to arguments that are equal to the last bit."""
    answers = OrderedDict()

    @functools.wraps(function)
    def look(*arguments, **named):
        asked = hashlib.sha256(pickle.dumps((arguments, sorted(named.items())))).digest()
        if asked in answers:
            answers.move_to_end(asked)
        else:
            answers[asked] = function(*arguments, **named)  # what is refused is refused anew
            if len(answers) > MOST:
                answers.popitem(last=False)
        return copy.deepcopy(answers[asked])

    return look


@contextlib.contextmanager
def looked_once():
    """While it is open the photo actions do not look at the same pixels twice."""
    with contextlib.ExitStack() as patches:
        for module, name in LOOKS:
            patches.enter_context(mock.patch.object(module, name, once(getattr(module, name))))
        yield
