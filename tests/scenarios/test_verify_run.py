"""What verify finds in a record that was changed, by chance or with the chain built anew."""

import random
import sqlite3
from itertools import pairwise

import pytest
from small_run import small_run, written

from gaswitness_probe.evidence import Evidence, EvidenceError, read_evidence
from gaswitness_probe.evidence_entries import end_body, verdict_body
from gaswitness_scenarios.judged_again import judged_again
from gaswitness_scenarios.kept_run import read_run
from gaswitness_scenarios.options import RehearsalLink
from gaswitness_scenarios.verify_run import State, What, verify_run
from gaswitness_sitefile.load import load_site

FLIPS = 250
SEED = 20


@pytest.fixture(scope="module")
def genuine(tmp_path_factory):
    folder = tmp_path_factory.mktemp("genuine")
    small_run(folder)
    return folder / "run.sqlite"


@pytest.fixture
def forged(genuine, tmp_path):
    """One who has the record writes all of it anew, each entry changed as he likes, or left out."""

    def forge(change):
        path = tmp_path / "forged.sqlite"
        with Evidence.create(path) as evidence:
            for entry in read_evidence(genuine):
                for kind, body, at_s in change(entry):
                    evidence.append(kind, body, at_s)
        return path

    return forge


def as_it_is(entry):
    return (entry.kind, entry.body, entry.at_s)


def states(report):
    return {check.what: check.state for check in report.checks}


def check(report, what):
    return next(one for one in report.checks if one.what is what)


ALL_STAND = dict.fromkeys(What, State.STANDS)


def test_a_record_stands_as_the_run_left_it(genuine):
    report = verify_run(genuine)
    assert states(report) == ALL_STAND
    assert "follow from" in check(report, What.SAMPLES).words
    assert check(report, What.VERDICTS).words == "all 19 judged again, and agree"
    assert report.holds


@pytest.mark.parametrize("link", [RehearsalLink.MEMORY_RTU, RehearsalLink.TCP])
def test_a_record_of_every_link_stands(tmp_path, link):
    small_run(tmp_path, link=link)
    report = verify_run(tmp_path / "run.sqlite")
    assert states(report) == ALL_STAND, report
    other_reader = any(entry.kind == "second" for entry in read_evidence(tmp_path / "run.sqlite"))
    assert other_reader is (link is RehearsalLink.TCP)


def test_any_byte_that_changes_in_the_file_is_found(genuine, tmp_path):
    content = genuine.read_bytes()
    draw = random.Random(SEED)
    path = tmp_path / "run.sqlite"
    beside = tmp_path / "run.sqlite.sha256"
    beside.write_bytes(genuine.with_name(beside.name).read_bytes())
    places = [*range(0, 100, 7), *draw.sample(range(len(content)), FLIPS)]
    for at in places:
        flipped = content[at] ^ (1 << draw.randrange(8))
        path.write_bytes(content[:at] + bytes([flipped]) + content[at + 1 :])
        report = verify_run(path, chain_only=True)
        assert not report.holds, at
        assert states(report)[What.FILE] is State.FAILS
    path.write_bytes(content)
    assert verify_run(path).holds


def test_any_byte_that_changes_in_the_digest_beside_is_found(genuine, tmp_path):
    path, beside = tmp_path / "run.sqlite", tmp_path / "run.sqlite.sha256"
    path.write_bytes(genuine.read_bytes())
    content = genuine.with_name(beside.name).read_bytes()
    for at in (*range(66), len(content) - 1):
        beside.write_bytes(content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :])
        assert not verify_run(path, chain_only=True).holds, at


def test_a_record_and_its_digest_may_be_given_another_name(genuine, tmp_path):
    path = tmp_path / "signed.sqlite"
    path.write_bytes(genuine.read_bytes())
    path.with_name("signed.sqlite.sha256").write_bytes(
        genuine.with_name("run.sqlite.sha256").read_bytes()
    )
    assert states(verify_run(path)) == ALL_STAND


def test_without_the_digest_beside_a_change_of_any_entry_is_found(genuine, tmp_path):
    path = tmp_path / "run.sqlite"
    path.write_bytes(genuine.read_bytes())
    report = verify_run(path)
    assert states(report)[What.FILE] is State.OPEN
    assert "are not checked" in check(report, What.FILE).words
    assert report.holds
    last = len(list(read_evidence(genuine)))
    for seq in range(1, last + 1, 9):
        path.write_bytes(genuine.read_bytes())
        db = sqlite3.connect(path)
        db.execute("UPDATE entry SET body = replace(body, ':', ';') WHERE seq = ?", (seq,))
        db.commit()
        db.close()
        assert states(verify_run(path))[What.CHAIN] is State.FAILS


def test_a_sample_changed_and_the_chain_built_anew_is_found(forged):
    def change(entry):
        if entry.kind == "samples" and "reading" in entry.body["points"]:
            entry.body["points"]["reading"] = 12.5
        yield as_it_is(entry)

    report = verify_run(forged(change))
    assert states(report)[What.CHAIN] is State.STANDS
    found = check(report, What.SAMPLES)
    assert found.state is State.FAILS
    assert "are not what the exchange of entry" in found.words


def test_a_sample_left_out_or_added_is_found(forged):
    seen = 0

    def without_one(entry):
        nonlocal seen
        seen += entry.kind == "samples"
        if not (entry.kind == "samples" and seen == 3):
            yield as_it_is(entry)

    assert "no samples say so" in check(verify_run(forged(without_one)), What.SAMPLES).words


def test_samples_said_twice_are_found(forged):
    def twice(entry):
        yield as_it_is(entry)
        if entry.kind == "samples":
            yield as_it_is(entry)

    assert "come from no exchange" in check(verify_run(forged(twice)), What.SAMPLES).words


def test_a_verdict_changed_and_the_chain_built_anew_is_found(forged):
    def change(entry):
        if entry.kind == "verdict" and entry.body["id"] == "level/AT-1.A1":
            entry.body["outcome"] = "proven"
        if entry.kind == "end":
            summary = entry.body["summary"]
            summary["proven"] += 1
            summary["inconclusive"] -= 1
        yield as_it_is(entry)

    report = verify_run(forged(change))
    assert states(report)[What.SAMPLES] is State.STANDS
    found = check(report, What.VERDICTS)
    assert found.state is State.FAILS
    assert found.words == "18 judged again agree, 1 differ"
    assert found.details == ("level/AT-1.A1: then proven, now inconclusive",)


@pytest.mark.parametrize("kind", ["link", "point", "cell", "output"])
def test_a_word_changed_in_a_verdict_of_any_kind_is_found(forged, kind):
    done = False

    def change(entry):
        nonlocal done
        if entry.kind == "verdict" and entry.body["kind"] == kind and not done:
            entry.body["seen"] += " indeed"
            done = True
        yield as_it_is(entry)

    report = verify_run(forged(change))
    assert check(report, What.VERDICTS).words == "18 judged again agree, 1 differ"


def test_a_verdict_left_out_or_doubled_is_found(forged, genuine, tmp_path):
    def without(entry):
        if not (entry.kind == "verdict" and entry.body["id"] == "cell/AT-1.A1 > K1"):
            yield as_it_is(entry)

    words = check(verify_run(forged(without)), What.VERDICTS).words
    assert words == "the end counts others than the record has"


@pytest.mark.parametrize(
    ("kind", "changed"),
    [
        ("applied", {"level": 5.0}),
        ("looked", {"value": False}),
        ("expected", {"value": False}),
        ("judging", {"low_s": 8.0}),
    ],
)
def test_what_the_verdicts_rest_on_cannot_be_changed_beside_them(forged, kind, changed):
    def change(entry):
        if entry.kind == kind:
            entry.body.update({name: changed[name] for name in changed if name in entry.body})
        yield as_it_is(entry)

    report = verify_run(forged(change))
    assert states(report)[What.SAMPLES] is State.STANDS
    assert states(report)[What.VERDICTS] is State.FAILS


def test_an_exchange_changed_alone_is_found(forged):
    def change(entry):
        if entry.kind == "exchange" and entry.body["request"].endswith("010400000003"):
            entry.body["response"] = entry.body["response"][:-4] + "0007"
        yield as_it_is(entry)

    assert states(verify_run(forged(change)))[What.SAMPLES] is State.FAILS


def test_an_exchange_with_its_samples_changed_shows_in_the_verdicts(forged):
    """K1's coil is made never to come on, in frames and samples alike."""
    first = True

    def change(entry):
        nonlocal first
        body = entry.body
        if entry.kind == "exchange" and body["request"].endswith("010100000001"):
            body["response"] = body["response"][:-2] + "00"
        if entry.kind == "samples" and "K1" in body["points"]:
            if not first:
                return
            first = False
        yield as_it_is(entry)

    report = verify_run(forged(change))
    assert states(report)[What.SAMPLES] is State.STANDS
    found = check(report, What.VERDICTS)
    assert found.state is State.FAILS
    assert "cell/AT-1.A1 > K1: then proven, now failed" in found.details


def test_only_the_head_digest_tells_a_record_forged_as_a_whole(genuine, tmp_path):
    """Another run, fit together in itself, put in place of the one that was signed."""
    signed = read_run(genuine).digest
    other = tmp_path / "other"
    small_run(other, seed=9)
    assert verify_run(other / "run.sqlite").holds
    report = verify_run(other / "run.sqlite", head=signed)
    assert states(report)[What.CHAIN] is State.FAILS
    assert f"not in {signed}" in check(report, What.CHAIN).words
    assert verify_run(genuine, head=signed).holds


@pytest.mark.parametrize("kind", ["polling", "judging", "surveyed"])
def test_a_record_stripped_of_what_it_is_judged_by_does_not_pass(forged, kind):
    report = verify_run(forged(lambda entry: [as_it_is(entry)] if entry.kind != kind else []))
    assert not report.holds


@pytest.mark.parametrize("name", ["sent_s", "received_s"])
def test_exchanges_out_of_their_order_in_time_are_found(forged, name):
    def change(entry):
        if entry.kind == "exchange" and entry.seq > 100:
            entry.body[name] += 1.0 if name == "received_s" else -1.0
        yield as_it_is(entry)

    found = check(verify_run(forged(change)), What.SAMPLES)
    assert (found.state, found.words[-47:]) == (
        State.FAILS,
        "was asked before the one before it was answered",
    )


def test_another_plan_of_the_poll_than_the_sites_is_found(forged):
    def change(entry):
        if entry.kind == "polling":
            entry.body["blocks"][0]["period_s"] = 0.4
        yield as_it_is(entry)

    words = check(verify_run(forged(change)), What.VERDICTS).words
    assert words == "what was polled is not what site and panel give to be polled"


def test_an_exchange_added_to_the_survey_is_found(forged, genuine):
    polling = read_run(genuine).of("polling")[0].seq
    last = max(entry.seq for entry in read_evidence(genuine, "exchange") if entry.seq < polling)

    def twice(entry):
        yield as_it_is(entry)
        if entry.seq == last:
            later = {"sent_s": entry.at_s, "received_s": entry.at_s}
            yield entry.kind, entry.body | later, entry.at_s

    words = check(verify_run(forged(twice)), What.VERDICTS).words
    assert f"nothing would have asked what entry {last + 1} asks" in words


def test_a_look_at_the_clock_too_many_is_found(forged):
    def change(entry):
        if entry.kind == "surveyed":
            entry.body["instants"].append(entry.at_s)
        yield as_it_is(entry)

    words = check(verify_run(forged(change)), What.VERDICTS).words
    assert words == "the survey's clock was looked at more often"


def test_of_a_record_judged_twice_the_last_verdicts_count(forged):
    """As where a run broke off after it was judged, and went on."""

    def change(entry):
        if entry.kind == "judging":
            yield "judging", entry.body | {"high_s": entry.body["low_s"]}, entry.at_s
            yield "verdict", early, entry.at_s
        yield as_it_is(entry)

    early = {
        "id": "cell/AT-1.A1 > K1",
        "kind": "cell",
        "outcome": "not_run",
        "expected": "",
        "seen": "",
        "response_s": None,
        "because": "",
        "proof": "reported",
        "aspects": [],
    }
    path = forged(change)
    assert len(read_run(path).verdicts) == 19
    assert states(verify_run(path)) == ALL_STAND


def test_a_site_other_than_the_one_named_is_found(forged):
    def change(entry):
        if entry.kind == "run":
            entry.body["site_sha256"] = "00" * 32
        yield as_it_is(entry)

    found = check(verify_run(forged(change)), What.SITE)
    assert found.state is State.FAILS
    assert f"the record states {'00' * 32}" in found.words


def test_a_survey_taken_out_does_not_pass_for_agreement(forged):
    def change(entry):
        entry.body.pop("phase", None)
        if entry.kind != "surveyed":
            yield as_it_is(entry)

    report = verify_run(forged(change))
    assert "rest on a survey that is not in the record" in check(report, What.VERDICTS).words
    assert not report.holds


def test_another_site_file_is_told_file_by_file(genuine, tmp_path):
    same, _ = written(tmp_path / "same")
    assert verify_run(genuine, site=load_site(same)).holds
    other, _ = written(tmp_path / "other")
    points = other.with_name("points.csv")
    points.write_text(points.read_text("utf-8").replace("uint16", "int16"), "utf-8")
    found = check(verify_run(genuine, site=load_site(other)), What.SITE)
    assert (found.state, found.details) == (State.FAILS, ("points.csv differs",))


def test_a_kept_site_file_that_was_changed_is_found(forged):
    def change(entry):
        if entry.kind == "run":
            entry.body["site_files"][1]["text"] += "\n"
        yield as_it_is(entry)

    found = check(verify_run(forged(change)), What.SITE)
    assert found.state is State.FAILS
    assert "points.csv is not the one that its digest names" in found.words


def test_a_run_that_was_killed_has_a_chain_and_no_verdicts(genuine, tmp_path):
    cut = tmp_path / "cut.sqlite"
    until = read_run(genuine).of("looked")[0].seq
    with Evidence.create(cut) as evidence:
        for entry in read_evidence(genuine):
            if entry.seq <= until:
                evidence.append(*as_it_is(entry))
    report = verify_run(cut)
    assert states(report) == {**ALL_STAND, What.VERDICTS: State.OPEN}
    assert "did not come to its end" in check(report, What.VERDICTS).words
    assert "broke off" in check(report, What.CHAIN).details[0]
    assert report.holds


def test_a_run_may_die_between_an_exchange_and_its_samples_and_go_on(genuine, tmp_path):
    """What comes after is the end alone: no verdicts are asked for here."""
    died = tmp_path / "died.sqlite"
    last = list(read_evidence(genuine, "samples"))[-1]
    for resumed in (True, False):
        with Evidence.create(died) as evidence:
            for entry in read_evidence(genuine):
                if entry.seq < last.seq:
                    evidence.append(*as_it_is(entry))
            if resumed:
                evidence.append("resumed", {"after_s": last.at_s, "clock": {}}, last.at_s + 60)
            evidence.append("end", {"why": "no link", "summary": {}}, last.at_s + 61)
        stand = check(verify_run(died), What.SAMPLES).state is State.STANDS
        assert stand is resumed
        died.unlink()
        died.with_name("died.sqlite.sha256").unlink()


@pytest.mark.parametrize("column", ["at_s", "kind", "body", "chain"])
def test_a_column_of_another_type_is_a_finding_and_no_defect(genuine, tmp_path, column):
    path = tmp_path / "run.sqlite"
    path.write_bytes(genuine.read_bytes())
    db = sqlite3.connect(path)
    # as damage would: SQLite itself keeps the types of a strict table
    db.execute("PRAGMA writable_schema = ON")
    db.execute("UPDATE sqlite_schema SET sql = replace(sql, 'STRICT', '')")
    db.execute("UPDATE sqlite_schema SET sql = replace(sql, ' NOT NULL', '')")
    db.commit()
    db.close()
    db = sqlite3.connect(path)
    db.execute(f"UPDATE entry SET {column} = NULL WHERE seq = 5")
    db.commit()
    db.close()
    found = check(verify_run(path), What.CHAIN)
    assert (found.state, found.words[:16]) == (State.FAILS, "4 entries stand;")


def test_what_is_no_record_is_refused(tmp_path):
    path = tmp_path / "run.sqlite"
    path.write_text("my notes")
    with pytest.raises(EvidenceError):
        verify_run(path)


def test_a_forger_who_judges_again_is_told_by_the_digest_alone(genuine, forged):
    """As README says: where all that follows is made to fit as well, nothing in the file tells."""

    def later(entry):
        body = dict(entry.body)
        if entry.kind == "looked":
            body["value"] = False
        yield entry.kind, body, entry.at_s

    changed = forged(later)
    again = {verdict.id: verdict for verdict in judged_again(read_run(changed)).verdicts}
    assert not verify_run(changed).holds
    fit = changed.with_name("fit.sqlite")
    with Evidence.create(fit) as evidence:
        for entry in read_evidence(changed):
            if entry.kind == "verdict":
                body = verdict_body(again[entry.body["id"]])
            elif entry.kind == "end":
                body = end_body(entry.body["why"], again.values())
            else:
                body = entry.body
            evidence.append(entry.kind, body, entry.at_s)
    assert verify_run(fit).holds
    assert not verify_run(fit, head=read_run(genuine).digest).holds


def test_entries_of_a_record_keep_their_order_in_time(genuine):
    times = [entry.at_s for entry in read_evidence(genuine, "exchange")]
    assert all(a <= b for a, b in pairwise(times))
