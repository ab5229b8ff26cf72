"""Turns the words that tables and records hold into messages of the page, for the catalogues to translate."""

from __future__ import annotations

from wqcheck.certificate.data import CertificateKind
from wqcheck.explanation import STEP_TITLES
from wqcheck.limit_comparison.changes import Change
from wqcheck.limit_comparison.comparison import Standing as ComparedStanding
from wqcheck.limit_tables.acts import Standing as ActStanding
from wqcheck.limit_tables.columns import EVIDENCE
from wqcheck.page.sheet_picture import KINDS
from wqcheck.plant.pretreatment import State as FigureState
from wqcheck.plant.typed_readings import TITLES
from wqcheck.records.decisions import MEANINGS
from wqcheck.records.parts import SampleRole
from wqcheck.records.roles import Role
from wqcheck.records.standing import State
from wqcheck.records.touched import Touch
from wqcheck.release.decision import CAUTION, Disposition
from wqcheck.release.flag_steps import STEP_TITLES as FLAG_STEP_TITLES
from wqcheck.release.next_steps import DEFERENCE, step_rows
from wqcheck.statistics.control_chart import RULES
from wqcheck.tables import Bound, LimitClass, Product, Sign, StageVerdict, Verdict
from wqcheck.train.equipment import FLOW_KNOWN
from wqcheck.train.kinds import KINDS as KIND_WORDS
from wqcheck.train.suspects import GRADES

DATA_WORDS = (
    *(str(word) for words in (State, CertificateKind, Disposition, Verdict, Product, LimitClass) for word in words),
    *(str(word) for words in (Role, SampleRole, Touch, ActStanding, ComparedStanding, Change) for word in words),
    *(str(word) for words in (StageVerdict, Bound, FigureState) for word in words),
    *(str(sign) for sign in Sign if sign.isalpha() or " " in sign),
    *TITLES.values(),
    *(*STEP_TITLES, *FLAG_STEP_TITLES, *FLOW_KNOWN),
    *(rule.words for rule in RULES),
    *GRADES.values(),
    *MEANINGS.values(),
    *KIND_WORDS,
    *EVIDENCE,
    *sorted(role for kind in KINDS for role in kind.roles),
    *("retained sample", "workbook", "limit table", "train", "release rules", "sampling plans", "sheet layout"),
    *("Membranes", "Scaling of the concentrate", "Before the membranes", "Disinfection", "Fit in flow", "Service"),
    *("Equipment", "judging rules", "permitted uncertainties", "plant readings", CAUTION),
    *dict.fromkeys(row.step.text for row in step_rows()),
    DEFERENCE.text,
)
"""Words and sentences of the data that ``say`` is given as they come; all other text of the library stays English."""
