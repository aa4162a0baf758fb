"""Which tests of a run one process takes together."""

from xdist.scheduler import LoadScopeScheduling

# Files whose tests share something that takes a minute to build.
TOGETHER = ("tests/test_demo.py", "tests/test_demo_scenario.py")


class DemoTogether(LoadScopeScheduling):
    """Each test by itself to whoever is free, but the tests of the demo file by file: it is built once.

    The marks that xdist's own ``loadgroup`` goes by are lost with pytest 9.2, without a word.
    """

    def _split_scope(self, nodeid):
        path = nodeid.split("::", 1)[0]
        return path if path in TOGETHER else nodeid
