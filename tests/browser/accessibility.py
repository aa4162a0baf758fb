"""What axe-core objects to on a page."""

from axe_playwright_python.sync_playwright import Axe

OTHER_GLASSES = [(360, True), (1280, False)]  # width and dark; the light phone and the dark desk see every page anyway


def broken_rules(page, **options) -> list[dict]:
    """The rules that a page breaks, each with its nodes. Of kept rules no nodes are told, which takes half the time."""
    return Axe().run(page, options={"resultTypes": ["violations"], **options}).response["violations"]


def px_too_wide(page) -> int:
    """By how many pixels a page is wider than the glass."""
    return page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")


def violations(page, **options) -> list[str]:
    """Where a page breaks which rule."""
    return [
        f"{page.url} {rule['id']}: {node['html'][:160]}"
        for rule in broken_rules(page, **options)
        for node in rule["nodes"]
    ]
