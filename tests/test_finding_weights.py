"""The release rules may weigh findings about the data, and never so that a wrong result could pass."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.table_rows import judged_of
from wqcheck.errors import PlantFileError
from wqcheck.findings import Finding, Severity
from wqcheck.release.decision import Disposition, decide_release, load_release_rules
from wqcheck.release.finding_weights import MUST_BE_TOLD, MUST_HOLD, WEIGHED, FindingWeights, weighed

ROOT = Path(__file__).parent.parent
SHIPPED = ROOT / "limits" / "release_rules.toml"


def finding(code: str, severity: Severity = Severity.NOTE) -> Finding:
    return Finding(code=code, severity=severity, message=f"about {code}")


def rules_file(tmp_path: Path, findings: str) -> Path:
    text = re.sub(r"\[findings\].*?(?=\n# )", f"[findings]\n{findings}\n", SHIPPED.read_text("utf-8"), flags=re.DOTALL)
    path = tmp_path / "rules.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_every_code_of_the_checks_can_be_named_and_no_other() -> None:
    checks = "\n".join(path.read_text("utf-8") for path in (ROOT / "wqcheck" / "quality").glob("*.py"))
    sources = checks + "\n".join(path.read_text("utf-8") for path in (ROOT / "wqcheck" / "sheets").glob("*.py"))
    given = set(re.findall(r'findings\(\s*(?:[^"]*?)"([a-z ]+)",\s*(?:Severity|severity|line)', checks, re.IGNORECASE))
    given |= set(re.findall(r'code="([a-z ]+)"', checks, re.IGNORECASE))
    assert given <= WEIGHED
    assert all(f'"{code}"' in sources for code in WEIGHED)


def test_the_shipped_rules_change_no_weight() -> None:
    rules = load_release_rules(SHIPPED)
    assert rules.findings == FindingWeights()
    every = [finding(code, severity) for code in sorted(WEIGHED) for severity in Severity]
    assert weighed(every, rules.findings) == tuple(every)


def test_a_code_can_be_made_to_hold_to_inform_or_be_left_out_and_it_is_printed(tmp_path: Path) -> None:
    path = rules_file(tmp_path, 'hold = ["blank"]\nnote = ["ion balance"]\nignore = ["hardness"]')
    found = [finding("blank"), finding("ion balance", Severity.HOLD), finding("hardness"), finding("other batch")]
    told = weighed(found, load_release_rules(path).findings)
    assert [(each.code, each.severity) for each in told] == [
        ("blank", "hold"),
        ("ion balance", "note"),
        ("other batch", "note"),
        ("findings weighed", "note"),
    ]
    expected = "blank weighs as hold (1 finding(s)); hardness left out (1 finding(s)); ion balance weighs as note"
    assert expected in told[-1].message
    decision = decide_release("B1", judged_of([]), told, load_release_rules(path), product="packaged")
    assert [(reason.disposition, reason.code) for reason in decision.reasons if "blank" in reason.message] == [
        (Disposition.HOLD, "blank"),
        (Disposition.RELEASE, "findings weighed"),
    ]


@pytest.mark.parametrize(
    ("findings", "told"),
    [
        *((f'note = ["{code}"]', "keeps a wrong result from passing") for code in sorted(MUST_HOLD)),
        *((f'ignore = ["{code}"]', "keeps a wrong result from passing") for code in sorted(MUST_HOLD)),
        *((f'ignore = ["{code}"]', "is always told") for code in sorted(MUST_BE_TOLD)),
        ('ignore = ["unknown unit"]', "'unknown unit' is no finding about the data"),
        ('hold = ["blank"]\nnote = ["blank"]', "'blank' stands 2 times"),
        ('hold = "blank"', "findings, hold: it must be a list"),
        ('drop = ["blank"]', "findings: the key 'drop' is not known"),
    ],
)
def test_what_could_let_a_wrong_result_pass_is_refused(tmp_path: Path, findings: str, told: str) -> None:
    with pytest.raises(PlantFileError) as caught:
        load_release_rules(rules_file(tmp_path, findings))
    assert told in str(caught.value)
