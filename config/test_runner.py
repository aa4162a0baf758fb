"""`manage.py test` runs pytest, so there is one test command and one way to run it."""

import sys


class PytestRunner:
    """Hands the paths and the common options of Django's `test` command to pytest."""

    def __init__(self, *, verbosity=1, failfast=False, keepdb=False, parallel=None, **options):
        self.verbosity = verbosity
        self.parallel = parallel
        self.failfast = failfast
        self.keepdb = keepdb
        self.keyword = options.get("keyword")
        self.marks = options.get("marks")

    @classmethod
    def add_arguments(cls, parser):
        parser.add_argument("--keepdb", action="store_true", help="Keep the test database for the next run.")
        parser.add_argument("--parallel", help="How many processes; by default one a core for the whole suite.")
        parser.add_argument("--keyword", help="Only tests whose name matches, as pytest's -k.")
        parser.add_argument("--marks", help="Only tests with these marks, as pytest's -m.")

    def run_tests(self, test_labels, **kwargs):
        """Run pytest and return 0 when everything passed, as Django's command expects a count of failures."""
        import pytest

        arguments = list(test_labels)
        arguments += ["--numprocesses", self.parallel or ("0" if test_labels else "auto"), "--dist", "loadscope"]
        if self.verbosity == 0:
            arguments.append("--quiet")
        if self.verbosity >= 2:
            arguments.append("--verbose")
        if self.failfast:
            arguments.append("--exitfirst")
        if self.keepdb:
            arguments.append("--reuse-db")
        if self.keyword:
            arguments += ["-k", self.keyword]
        if self.marks:
            arguments += ["-m", self.marks]
        sys.stdout.flush()
        return int(pytest.main(arguments))
