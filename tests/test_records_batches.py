"""A batch goes through its states by the right people only, and its documents are numbered without gap or double."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pytest
from pandas.testing import assert_frame_equal

from tests.record_stores import ADA, DAY, MEI, OTTO, RUI, act, files_of, held, rejected, released, taken_in
from wqcheck.batch import check_workbook
from wqcheck.certificate.data import CertificateKind, from_json, verify_digest
from wqcheck.certificate_files.letterhead import Letterhead
from wqcheck.errors import RecordRefusedError
from wqcheck.records.batches import batch, batches, flags, waiting
from wqcheck.records.certificates import PaperStyle, document_file, documents, issue, withdraw, withdrawal_file
from wqcheck.records.decisions import decide, review
from wqcheck.records.intake import files_used, receive, take_in
from wqcheck.records.parts import LinkedSample, RetainedSample, SampleRole, SubLot, attach, remark
from wqcheck.records.roles import Act
from wqcheck.records.standing import State
from wqcheck.records.store import Store
from wqcheck.records.verify import verify
from wqcheck.release.decision import BatchDetails
from wqcheck.tables import Judged
from wqcheck.verification.paper import verify_paper

SAMPLES = Path(__file__).resolve().parent.parent / "sample_results"
TABLES = ["who_gdwq_2022", "us_21cfr165_110b"]


def reviewed(store: Store, number: str = "B2107") -> None:
    review(store, number, act(RUI, "complete", 10))


def states(store: Store) -> dict[str, str]:
    frame = batches(store)
    return dict(zip(frame["batch"], frame["state"], strict=True))


@pytest.mark.parametrize("book", ["run_B2107_clean.xlsx", "run_B2108_trouble.xlsx", "commissioning_crosstab.xlsx"])
def test_a_check_comes_back_as_it_was_taken_in(store: Store, book: str) -> None:
    train, on = SAMPLES / "train.toml", date(2026, 6, 19)
    number = "" if book.startswith("run") else "C-01"
    checked = check_workbook(
        [SAMPLES / book], details=BatchDetails(batch=number, product="purified"), limits=TABLES, train=train,
        rules=None, on=on, product="purified",
    )  # fmt: skip
    take_in(store, checked, act(ADA), files_used([SAMPLES / book], TABLES, train, None), on=on)
    kept = batch(store, checked.details.batch).check
    for name in ("readings", "ledger", "judged", "stages"):
        assert_frame_equal(getattr(kept, name), getattr(checked, name))
    for name in ("details", "findings", "decision", "files"):
        assert getattr(kept, name) == getattr(checked, name)
    flagged = checked.judged[checked.judged[Judged.verdict].isin(["fail", "conditional fail", "undetermined"])]
    assert sorted(flags(store, checked.details.batch)[Judged.reason]) == sorted(flagged[Judged.reason])
    assert verify(store).found == ()


def test_a_batch_is_received_reviewed_released_and_certified(store: Store) -> None:
    taken_in(store, released())
    assert states(store) == {"B2107": "received"}
    reviewed(store)
    decide(store, " b2107 ", act(MEI, minutes=20), State.RELEASED)
    issued = issue(store, "B2107", act(MEI, minutes=30))
    assert issued.certificate.number == "C-2026-00001"
    assert issued.certificate.signed_by == MEI.name
    assert issued.certificate.record.startswith("3:")
    assert verify_digest(issued.files["json"].decode())
    assert document_file(store, "C-2026-00001", "pdf") == issued.files["pdf"]
    kept = batch(store, "B2107")
    assert kept.standing.state is State.RELEASED
    assert kept.steps["meaning"].tolist()[1:] == ["reviewed", "released"]
    assert kept.documents["status"].tolist() == ["in force"]
    assert verify(store).found == ()


def test_review_and_release_take_two_people(store: Store) -> None:
    taken_in(store, released())
    reviewed(store)
    with pytest.raises(RecordRefusedError, match="two different people"):
        decide(store, "B2107", act(RUI), State.RELEASED)
    assert states(store) == {"B2107": "under review"}


@pytest.mark.parametrize(
    ("who", "to", "said"),
    [
        (ADA, State.UNDER_REVIEW, "may not review a batch: that takes a reviewer, and they are an analyst"),
        (OTTO, State.UNDER_REVIEW, "they are an auditor"),
        (MEI, State.UNDER_REVIEW, "takes a reviewer"),
        (ADA, State.RELEASED, "takes an authorised releaser"),
        (ADA, State.ON_HOLD, "takes an authorised releaser or a reviewer"),
        (OTTO, State.REJECTED, "takes an authorised releaser"),
    ],
)
def test_who_may_do_what(store: Store, who: object, to: State, said: str) -> None:
    taken_in(store, released())
    with pytest.raises(RecordRefusedError, match=said):
        decide(store, "B2107", act(who, "because"), to)  # type: ignore[arg-type]


def test_an_auditor_only_looks(store: Store) -> None:
    taken_in(store, released())
    with pytest.raises(RecordRefusedError, match="may not take in"):
        take_in(store, released("B2"), act(OTTO), files_of(released("B2")), on=DAY)
    with pytest.raises(RecordRefusedError, match="may not remark"):
        remark(store, "B2107", act(OTTO), "text")
    with pytest.raises(RecordRefusedError, match="may not issue"):
        issue(store, "B2107", act(OTTO))
    with pytest.raises(RecordRefusedError, match="may not withdraw"):
        withdraw(store, "B2107", act(OTTO, "why"))
    assert batch(store, "B2107").standing.state is State.RECEIVED


def test_steps_out_of_turn_are_refused(store: Store) -> None:
    taken_in(store, released())
    for to in (State.RELEASED, State.ON_HOLD, State.REJECTED):
        with pytest.raises(RecordRefusedError, match=r"is received and cannot be .* possible now: review"):
            decide(store, "B2107", act(MEI, "because"), to)
    with pytest.raises(RecordRefusedError, match="cannot be withdrawn"):
        withdraw(store, "B2107", act(MEI, "because"))
    with pytest.raises(RecordRefusedError, match="a document is issued when"):
        issue(store, "B2107", act(MEI))
    with pytest.raises(RecordRefusedError, match="has no batch 'B9'"):
        reviewed(store, "B9")


def test_a_hold_or_rejection_takes_a_written_reason(store: Store) -> None:
    taken_in(store, released())
    reviewed(store)
    for to in (State.ON_HOLD, State.REJECTED):
        with pytest.raises(RecordRefusedError, match="only with a written reason"):
            decide(store, "B2107", act(MEI, "  "), to)


def test_an_act_needs_its_time_zone(store: Store) -> None:
    with pytest.raises(RecordRefusedError, match="time zone"):
        take_in(store, released(), Act(by=ADA, at=datetime(2026, 3, 4)), files_of(released()), on=DAY)


def test_a_recommended_hold_is_released_only_by_an_override_that_the_certificate_prints(store: Store) -> None:
    taken_in(store, held())
    reviewed(store)
    with pytest.raises(RecordRefusedError, match="recommended to be held"):
        decide(store, "B2107", act(MEI), State.RELEASED)
    with pytest.raises(RecordRefusedError, match="takes a written reason"):
        decide(store, "B2107", act(MEI), State.RELEASED, override=True)
    why = "retest R-9 of 2026-03-03 shows none in 250 mL"
    decide(store, "B2107", act(MEI, why), State.RELEASED, override=True)
    issued = issue(store, "B2107", act(MEI)).certificate
    assert why in issued.override
    assert issued.override == issued.statement[0]
    assert "no listed required result exceeded" not in " ".join(issued.statement[1:2]) or issued.missing


def test_the_override_stands_in_the_pdf(store: Store, tmp_path: Path) -> None:
    """Poppler's pdftotext is the judge."""
    import shutil
    import subprocess

    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    taken_in(store, held())
    reviewed(store)
    decide(store, "B2107", act(MEI, "reason number 4711"), State.RELEASED, override=True)
    path = tmp_path / "c.pdf"
    path.write_bytes(issue(store, "B2107", act(MEI)).files["pdf"])
    text = subprocess.run(["pdftotext", str(path), "-"], check=True, capture_output=True, text=True).stdout
    assert "against the recommendation to hold" in " ".join(text.split())
    assert "reason number 4711" in " ".join(text.split())


def test_no_reason_releases_what_is_to_be_rejected(store: Store) -> None:
    taken_in(store, rejected())
    reviewed(store)
    with pytest.raises(RecordRefusedError, match="no reason can release it"):
        decide(store, "B2107", act(MEI, "we must ship"), State.RELEASED, override=True)


def test_there_is_nothing_to_override_in_a_clean_batch(store: Store) -> None:
    taken_in(store, released())
    reviewed(store)
    with pytest.raises(RecordRefusedError, match="nothing to override"):
        decide(store, "B2107", act(MEI, "why"), State.RELEASED, override=True)


def test_new_results_undo_the_review_and_need_a_reason(store: Store) -> None:
    taken_in(store, held())
    reviewed(store)
    decide(store, "B2107", act(MEI, "E. coli to be repeated"), State.ON_HOLD)
    with pytest.raises(RecordRefusedError, match="give the reason"):
        taken_in(store, released())
    assert taken_in(store, released(), why="the laboratory sent the retest") == 2
    assert states(store) == {"B2107": "received"}
    with pytest.raises(RecordRefusedError, match="newer check"):
        review(store, "B2107", act(RUI), seen=1)
    review(store, "B2107", act(RUI), seen=2)
    decide(store, "B2107", act(MEI), State.RELEASED)
    with pytest.raises(RecordRefusedError, match="only before a decision"):
        taken_in(store, released(), why="again")
    assert verify(store).found == ()


def test_a_batch_on_hold_may_go_back_to_review(store: Store) -> None:
    taken_in(store, released())
    reviewed(store)
    decide(store, "B2107", act(MEI, "seal to be looked at"), State.ON_HOLD)
    notice = issue(store, "B2107", act(MEI)).certificate
    assert str(notice.kind) == "hold notice"
    assert any("seal to be looked at" in reason.message for reason in notice.reasons)
    reviewed(store)
    decide(store, "B2107", act(MEI), State.RELEASED)
    certificate = issue(store, "B2107", act(MEI)).certificate
    assert (certificate.revision, certificate.supersedes) == (1, notice.number)


def test_a_revision_takes_a_reason_and_supersedes(store: Store) -> None:
    taken_in(store, released())
    reviewed(store)
    decide(store, "B2107", act(MEI), State.RELEASED)
    issue(store, "B2107", act(MEI))
    with pytest.raises(RecordRefusedError, match="revision of it takes a written reason"):
        issue(store, "B2107", act(MEI))
    issue(store, "B2107", act(MEI, "address corrected"))
    frame = documents(store, "B2107")
    assert frame["status"].tolist() == ["superseded by C-2026-00002", "in force"]
    assert frame["revision"].tolist() == [0, 1]


def test_a_withdrawal_names_the_documents_that_no_longer_hold(store: Store) -> None:
    taken_in(store, released())
    reviewed(store)
    decide(store, "B2107", act(MEI), State.RELEASED)
    issue(store, "B2107", act(MEI))
    with pytest.raises(RecordRefusedError, match="written reason"):
        withdraw(store, "B2107", act(MEI))
    assert withdraw(store, "B2107", act(MEI, "cap defect")) == ("C-2026-00001",)
    notice = from_json(withdrawal_file(store, "C-2026-00001", "json").decode("utf-8"))
    assert (notice.kind, notice.number) == (CertificateKind.WITHDRAWAL, "C-2026-00001")
    assert notice.withdrawn.endswith("cap defect")
    assert states(store) == {"B2107": "withdrawn"}
    assert documents(store)["status"].tolist() == ["withdrawn"]
    with pytest.raises(RecordRefusedError, match="possible now: nothing more"):
        reviewed(store)
    assert verify(store).found == ()


@pytest.mark.parametrize("language", ["en", "fr", "ar"])
def test_documents_and_their_withdrawal_are_printed_in_the_language_asked_for(store: Store, language: str) -> None:
    """The notice of withdrawal is a PDF/A-3b, a workbook and JSON in the language of its document; all are sound."""
    head = Letterhead(lines=("Port Almara bottling plant (invented)",))
    taken_in(store, released())
    reviewed(store)
    decide(store, "B2107", act(MEI), State.RELEASED)
    issued = issue(store, "B2107", act(MEI), style=PaperStyle(language=language, letterhead=head))
    assert issued.certificate.language == language
    withdraw(store, "B2107", act(MEI, "cap defect"), style=PaperStyle(letterhead=head))
    notice = from_json(withdrawal_file(store, "C-2026-00001", "json").decode("utf-8"))
    assert (notice.language, notice.kind) == (language, CertificateKind.WITHDRAWAL)
    for content in (issued.files["pdf"], withdrawal_file(store, "C-2026-00001", "pdf")):
        report = verify_paper(content, letterhead=head)
        assert report.sound, report
    assert withdrawal_file(store, "C-2026-00001", "xlsx").startswith(b"PK")
    with pytest.raises(RecordRefusedError, match="no withdrawn document"):
        withdrawal_file(store, "C-2026-00009", "pdf")
    assert verify(store).found == ()


def test_a_refused_document_uses_up_no_number(store: Store) -> None:
    for number in ("B1", "B2"):
        taken_in(store, released(number))
        reviewed(store, number)
    decide(store, "B1", act(MEI), State.RELEASED)
    with pytest.raises(RecordRefusedError):
        issue(store, "B2", act(MEI))
    assert issue(store, "B1", act(MEI)).certificate.number == "C-2026-00001"
    decide(store, "B2", act(MEI, "smell"), State.REJECTED)
    assert issue(store, "B2", act(MEI), pattern="{number:03d}/{year}").certificate.number == "001/2026"


@pytest.mark.parametrize("pattern", ["C-{year}", "{number}{number}", "C-{nummer}", "C-{number", "{number.real}", "{}"])
def test_a_pattern_that_does_not_count_is_refused(store: Store, pattern: str) -> None:
    taken_in(store, released())
    reviewed(store)
    decide(store, "B2107", act(MEI), State.RELEASED)
    with pytest.raises(RecordRefusedError, match="number pattern"):
        issue(store, "B2107", act(MEI), pattern=pattern)


def test_a_yearly_panel_out_of_date_stops_the_release(store: Store) -> None:
    taken_in(store, released())
    panel = LinkedSample(code="Y-25", role=SampleRole.YEARLY_PANEL, origin="B1900", valid_until=date(2026, 3, 1))
    attach(store, "B2107", act(ADA), [panel, SubLot(code="P1"), RetainedSample(
        code="R1", quantity="6 bottles", kept_at="room 4", keep_until=date(2027, 3, 1))])  # fmt: skip
    reviewed(store)
    with pytest.raises(RecordRefusedError, match=r"Y-25 counted until 2026-03-01"):
        decide(store, "B2107", act(MEI), State.RELEASED)
    attach(store, "B2107", act(ADA), [replace(panel, valid_until=date(2027, 3, 1))])
    decide(store, "B2107", act(MEI), State.RELEASED)
    assert {part.code for part in batch(store, "B2107").parts} == {"Y-25", "P1", "R1"}


def test_what_waits(store: Store) -> None:
    receive(store, [("late.xlsx", b"not taken in yet")], act(ADA))
    receive(store, [("late.xlsx", b"not taken in yet")], act(ADA))
    for number in ("B1", "B2", "B3"):
        taken_in(store, released(number))
    reviewed(store, "B2")
    reviewed(store, "B3")
    decide(store, "B3", act(MEI), State.RELEASED)
    attach(store, "B1", act(ADA), [
        RetainedSample(code="R1", quantity="6", kept_at="room 4", keep_until=date(2026, 3, 20)),
        LinkedSample(code="Y", role=SampleRole.YEARLY_PANEL, valid_until=date(2026, 12, 1)),
    ])  # fmt: skip
    now = waiting(store, DAY)
    assert now.received["batch"].tolist() == ["B1"]
    assert now.under_review["batch"].tolist() == ["B2"]
    assert now.without_document["batch"].tolist() == ["B3"]
    assert now.sheets["name"].tolist() == ["late.xlsx"]
    assert now.due["code"].tolist() == ["R1"]


def test_a_remark_is_kept_with_who_and_when(store: Store) -> None:
    taken_in(store, released())
    remark(store, "B2107", act(RUI, minutes=5), "unit confirmed by telephone", about="lead")
    kept = batch(store, "B2107").remarks
    assert kept.to_dict("records") == [
        {"at": "2026-03-04T08:05:00+00:00", "person": "rui", "about": "lead", "text": "unit confirmed by telephone"}
    ]


def test_bytes_that_are_not_those_of_the_check_are_refused(store: Store) -> None:
    with pytest.raises(RecordRefusedError, match="were not given or have changed"):
        take_in(store, released(), act(ADA), [("run_B2107.xlsx", b"other")], on=DAY)
    assert batches(store).empty


def test_a_document_rests_on_the_check_that_was_decided(store: Store) -> None:
    taken_in(store, released())
    reviewed(store)
    decide(store, "B2107", act(MEI), State.RELEASED)
    text = issue(store, "B2107", act(MEI)).files["json"].decode()
    head = json.loads(text)["record"]
    assert verify(store, [head]).found == ()
