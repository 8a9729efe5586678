"""Several builds together: never unasked, and never without saying so."""

from dataclasses import replace

from analysis.arguments import WrongArgument
from analysis.finding import Finding
from analysis.findings.survival.build_pairs import BUILDS
from analysis.findings.trust import QUESTION as TRUST
from analysis.played_order import not_known
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.words import capital, listed


def which_build(selection: Selection) -> str:
    """That no build is taken for the newest as long as nobody says which it is."""
    return (
        f"{capital(not_known(selection.maybe_newest))}. Until somebody says so, none of them is called the newest: "
        "choose one, or all builds together."
    )


def checked_builds(selection: Selection) -> None:
    """Raises WrongArgument where a build must be named, for it is not known which is the newest."""
    if selection.maybe_newest:
        raise WrongArgument("build", None, f"{selection.game}: {which_build(selection)}")


def said_of_all(reader: Reader, selection: Selection, found: list[Finding]) -> list[Finding]:
    """The findings, each of which says so where it is of several builds together."""
    if len(selection.builds) == 1:
        return found
    builds = [str(build) for build in reader.ask_chosen("chosen_builds", selection)["build"]]
    if len(builds) < 2:
        return found
    which = "These builds" if selection.builds else "All builds"
    return [_said(finding, builds, which) for finding in found]


def _said(finding: Finding, builds: list[str], which: str) -> Finding:
    # How sound the logs are is no matter of builds, and builds compared are not pooled.
    if finding.question == TRUST or finding.id in (BUILDS.id, f"{finding.question}.none"):
        return finding
    headline = finding.headline and f"{which}: {finding.headline}"
    return replace(finding, sentence=f"Builds {listed(builds)} together: {finding.sentence}", headline=headline)
