"""Turns findings, flags, tables and decisions into lines on a terminal: results on stdout, messages on stderr."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from wqcheck.errors import WqcheckError

if TYPE_CHECKING:
    import pandas as pd

    from wqcheck.findings import Finding
    from wqcheck.release.decision import BatchCheck

AsJson = Annotated[bool, typer.Option("--json", help="Write JSON to stdout.")]


def day_of(text: str) -> date:
    """Return the day of an ``--on`` option, today where it is blank."""
    try:
        return date.fromisoformat(text) if text else date.today()
    except ValueError:
        raise WqcheckError(f"--on takes a day like 2026-03-31 (given: {text!r})") from None


def say(findings: Iterable[Finding]) -> None:
    """Print findings to stderr, one a line."""
    for finding in findings:
        typer.echo(f"{finding.severity}: {finding}", err=True)


def print_flags(judged: pd.DataFrame) -> None:
    """Print how many verdicts of each kind there are, then every flag, worst first, as one line."""
    from wqcheck.judging.judge import WORST_FIRST

    rank = {str(verdict): place for place, verdict in enumerate(WORST_FIRST)}
    counts = judged["verdict"].value_counts()
    typer.echo("verdicts: " + ", ".join(f"{counts[verdict]} {verdict}" for verdict in rank if verdict in counts))
    flags = judged[judged["verdict"].isin(["fail", "conditional fail", "undetermined"])]
    flags = flags.assign(rank=flags["verdict"].map(rank)).sort_values(["rank", "margin"], kind="stable")
    for row in flags.to_dict("records"):
        sheet = f"{row['sheet']}!" if row["sheet"] == row["sheet"] and row["sheet"] else ""
        typer.echo(f"  {row['verdict']:<16} {sheet}{row['cell']}  {row['parameter']}  {row['table']}: {row['reason']}")


def print_table(table: pd.DataFrame) -> None:
    """Print a whole table with numbers to four significant places; the files hold them in full."""
    import pandas as pd

    with pd.option_context("display.width", None, "display.max_columns", None, "display.max_rows", None,
                           "display.max_colwidth", 90, "display.precision", 4):  # fmt: skip
        typer.echo(table.to_string(index=False, na_rep=""))


def print_decision(checked: BatchCheck, most: int | None = None) -> None:
    """Print the recommended disposition and its reasons (the first *most*), and the caution to stderr."""
    from wqcheck.release.decision import CAUTION

    decision = checked.decision
    water = f"{checked.details.product} water"
    for statement in checked.decision_rules:
        typer.echo(f"decision rule, {statement.table}: {statement.rule}")
    typer.echo(f"batch {decision.batch} ({water}): recommended disposition {str(decision.disposition).upper()}")
    for reason in decision.reasons[:most]:
        where = f" [{reason.where}]" if reason.where else ""
        typer.echo(f"  {reason.disposition}: {reason.message}{where}")
    if most is not None and len(decision.reasons) > most:
        typer.echo(f"  … and {len(decision.reasons) - most} more, all in the document")
    typer.echo(CAUTION, err=True)


def check_json(checked: BatchCheck, judged: pd.DataFrame) -> str:
    """Return a checked batch as JSON for programs: batch, decision, findings, files, judged rows and stages."""
    import json
    from dataclasses import asdict

    rows = json.loads(judged.to_json(orient="records", date_format="iso"))
    data = {
        "batch": asdict(checked.details), "decision": asdict(checked.decision),
        "findings": [asdict(finding) for finding in checked.findings],
        "files": [asdict(file) for file in checked.files],
        "decision_rules": [asdict(statement) for statement in checked.decision_rules],
        "judged": rows, "stages": json.loads(checked.stages.to_json(orient="records")),
    }  # fmt: skip
    return json.dumps(data, ensure_ascii=False, indent=2)
