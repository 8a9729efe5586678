"""What axe-core, an outside judge (tests/dashboard/vendored), finds inaccessible on a page."""

from pathlib import Path

AXE = (Path(__file__).parent / "vendored" / "axe.min.js").read_text(encoding="utf-8")


def faults(page) -> list[str]:
    """What axe-core finds, be it small or large."""
    # Evaluated by the debugger, so that the page's own policy against foreign scripts stays in force.
    page.evaluate(AXE)
    found = page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")
    return [f"{fault['id']}: {fault['nodes'][0]['html'][:160]}" for fault in found["violations"]]
