"""Whether the data can be trusted: what was lost, what it can bias, what to fix on the console.

The findings here never leave out a run for being damaged.
"""

from analysis.finding import Finding
from analysis.findings.basis import Basis, nothing
from analysis.findings.trust import attempt_order, contradicted_roles, logs_received, sound_runs
from analysis.reader import Reader
from analysis.selection import Selection

QUESTION = "trust"


def find(reader: Reader, selection: Selection) -> list[Finding]:
    """The findings on the data themselves; one that says so where there are none."""
    captures = logs_received.read_captures(reader, selection.game)
    if not captures:
        return [nothing(QUESTION, "No play log of this game is in the study: ingest one.")]
    roles = frozenset(str(role) for role in reader.ask_chosen("roles", selection)["role"])
    basis = Basis(reader.ask_chosen("trust_runs", selection), roles, ())
    found = [logs_received.verdict(reader, selection, captures, basis)]
    if basis.runs:
        found += sound_runs.find(basis)
        found += contradicted_roles.find(reader, selection, basis)
        found += attempt_order.find(reader, selection, basis)
    found += sound_runs.left_out(reader, selection, basis)
    found += logs_received.clocks(reader, selection, basis)
    return found + logs_received.copies(reader, selection, captures, basis)
