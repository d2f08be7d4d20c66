"""The methods section says what was done, with its counts, and nothing that was not."""

from __future__ import annotations

from dataclasses import replace

from panel.bench.draws import drawn
from panel.bench.figures import Run
from panel.bench.methods_text import Conduct, methods_section
from panel.bench.verdict import reweighed, verdict
from panel.study.plan import Kitchen, Layout, Plan, Question
from tests.bench.a_trial import BENCH, NAMES, figures, tasted

PLAN = Plan(
    title="Rice cookers",
    heading="Blind tasting",
    question="Which rice is liked best?",
    method="rating",
    samples=4,
    tasters=24,
    conditions=("plain", "with dashi"),
    condition_mode="same cup",
    questions=(
        Question("q1", "How much do you like it?", "hedonic-9"),
        Question("q2", "Anything else?", "comment", at_end=True),
    ),
    primary="q1",
    kitchen=Kitchen(per_cup=30, temperature=60, controls=("one bag of rice", "one water")),
    rinse="Rinse with water.",
    bench=BENCH,
)
DONE = Conduct(
    took_part=23,
    analysed=21,
    sealed="3 March 2026, 09:00",
    first_answer="4 March 2026, 10:02",
    last_answer="4 March 2026, 16:40",
    signed="5 March 2026, 08:00",
    holder="split key",
    excluded=("taster 07: ill", "taster 11: did not finish."),
    late=2,
    deviations=("A cup was poured again.",),
    versions=(("Python", "3.11.7"), ("scipy", "1.14")),
)
RUNS = [
    Run(f"r{n}{p}", "m1", p, n, 1800.0 + n, instrument="Stopwatch S1", resolution=1.0, by="Ada")
    for p in NAMES
    for n in (1, 2, 3)
] + [Run("r9", "m1", "p1", 4, 99.0, invalid="lid was open."), Run("c1", "m3", "p1", 1, 1.0, by="Ben")]


def text(plan: Plan = PLAN, conduct: Conduct = DONE, **otherwise: object) -> str:
    return "\n".join(
        f"{paragraph.title}: {paragraph.text}"
        for paragraph in methods_section(plan, conduct, **otherwise)  # type: ignore[arg-type]
    )


def test_the_section_is_written_from_plan_log_and_entries() -> None:
    found = verdict(
        BENCH, figures(), tasted({"p1": 7.0, "p2": 6.0, "p3": 5.0, "p4": 4.0}), names=NAMES, draws=400, seed=7
    )
    said = text(runs=RUNS, verdict=found)
    for sentence in (
        "4 samples were compared by the method “Rating” (ISO 11136:2014 (hedonic), ISO 4121:2003 ",
        "23 tasters of 24 planned took part, 21 of them count.",
        "Each taster had all samples once, in orders balanced for position and for what came before (Williams).",
        "Samples were served “plain” and “with dashi”, the addition going into the cup already tasted.",
        "Tasters were asked about each sample: “How much do you like it?” (liking, nine points).",
        "After the last sample 1 more question was asked.",
        "Held equal for all samples: one bag of rice and one water.",
        "Between samples: Rinse with water.",
        "Cups bore three-digit codes, each cup its own, drawn at random with the serving orders.",
        "the criteria with their weights and limits and the locked names were sealed on 3 March 2026, 09:00, before "
        "any answer; a second person kept the passphrase to the names.",
        "“Time” (duration, in min) was measured for 4 products with 3 valid runs each, by Stopwatch S1 (resolution "
        "1\u202fs).",
        "1 run of it did not count: lid was open.",
        "“Clean” (check: passed or failed) was measured for 1 product with 1 valid run each (3 were asked for).",
        "Planned and not measured: “Warm” and “Price”.",
        "Measurements were entered by 2 people",
        "3 criteria made up the total, each turned into 0 to 100 by its sealed curve; the groups' shares were "
        "“Taste” 50\u202f% and “Use” 50\u202f%.",
        "Musts, never averaged: “Safe” and “Does not boil over”",
        "resampling the 20 tasters whole",
        "From 400 joint draws (public seed 7)",
        "2 tasters were left out: taster 07: ill; taster 11: did not finish.",
        "2 answers that came late did not count.",
        "A cup was poured again.",
        "Computed with Python 3.11.7 and scipy 1.14.",
    ):
        assert sentence in said, (sentence, said)


def test_what_was_not_done_is_not_said() -> None:
    plain = text(replace(PLAN, conditions=("as served",), kitchen=Kitchen(), rinse=""), Conduct(24, 24))
    for word in ("Measurement:", "Verdict:", "sealed on", "signed", "served “", "temperature", "Computed"):
        assert word not in plain
    assert "Nobody was left out, and the log holds no deviation from the plan." in plain


def test_incomplete_blocks_are_named_as_such() -> None:
    said = text(replace(PLAN, samples=9, layout=Layout(per_taster=4)))
    assert "4 of the 9 samples at a sitting, by an incomplete block design" in said


def test_a_set_method_says_its_question_and_its_cups() -> None:
    said = text(replace(PLAN, method="triangle", samples=2, questions=(), primary="", replicates=2))
    assert "Each answer is about 3 cups; each taster judged 2 sets." in said
    assert "Which one is different?" in said


def test_moved_weights_are_said_to_be_exploratory() -> None:
    values = drawn(BENCH, figures(), tasted(dict.fromkeys(NAMES, 5.0)), names=NAMES, draws=100)
    said = text(verdict=reweighed(values, {"Taste": 3.0}, {}))
    assert "not those that were sealed; this verdict is exploratory" in said
