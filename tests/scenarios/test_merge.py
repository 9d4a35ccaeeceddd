from gaswitness_probe.verdict import Aspect, Kind, Outcome, Verdict
from gaswitness_scenarios.merge import all_verdicts


def verdict(name, kind, outcome, because, *aspects):
    return Verdict(name, kind, outcome, because=because, aspects=aspects)


def test_the_worse_of_two_verdicts_speaks_and_all_aspects_are_kept():
    range_, agrees = Aspect("range", Outcome.PROVEN), Aspect("agrees", Outcome.FAILED)
    survey = [verdict("point/a", Kind.POINT, Outcome.PROVEN, "in range", range_)]
    judged = [verdict("point/a", Kind.POINT, Outcome.FAILED, "stuck at 0", agrees)]
    (found,) = all_verdicts(survey, judged)
    assert (found.outcome, found.because) == (Outcome.FAILED, "stuck at 0")
    assert found.aspects == (range_, agrees)


def test_a_proof_is_not_lost_to_something_that_was_not_run():
    survey = [verdict("point/a", Kind.POINT, Outcome.PROVEN, "")]
    judged = [verdict("point/a", Kind.POINT, Outcome.NOT_RUN, "")]
    assert all_verdicts(survey, judged)[0].outcome is Outcome.PROVEN


def test_verdicts_come_by_kind_and_then_as_first_mentioned():
    found = all_verdicts(
        [verdict("point/b", Kind.POINT, Outcome.PROVEN, "")],
        [
            verdict("cell/x", Kind.CELL, Outcome.PROVEN, ""),
            verdict("point/a", Kind.POINT, Outcome.PROVEN, ""),
            verdict("link/reply", Kind.LINK, Outcome.PROVEN, ""),
        ],
    )
    assert [v.id for v in found] == ["link/reply", "point/b", "point/a", "cell/x"]
