"""What a study says, for scripts and notebooks.

    import analysis

    study = analysis.open("class.duckdb")
    study.findings(question="deaths")

Tables come as pandas frames; answers print as the commands of `setscrew` do, and show themselves in notebooks. Nothing
is written unless it is asked for. Inside, the layers below hand on findings; dashboard and report read nothing else.
"""

from analysis.study import Study, open

__all__ = ["Study", "open"]
