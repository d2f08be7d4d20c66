"""Made-up tables of every kind about rice, as CSV text, for tests and to try the command with."""

import csv
import io

import numpy as np


def _csv(headings, rows):
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(headings)
    writer.writerows(rows)
    return text.getvalue()


def ranks(tasters=12):
    rng = np.random.default_rng(4)
    pull = {"plain": 0.0, "with dashi": -1.2, "old crop": 1.0, "steamed": 0.1}
    rows = []
    for t in range(tasters):
        order = sorted(pull, key=lambda name: pull[name] + rng.normal())
        rows += [(f"t{t + 1}", name, order.index(name) + 1) for name in pull]
    return _csv(("taster", "sample", "rank"), rows)


def answers(right=14, tasters=24):
    return _csv(("taster", "correct"), [(f"t{t + 1}", "yes" if t < right else "no") for t in range(tasters)])


def repeated_answers():
    """Ten tasters with six answers each; half of them always right."""
    rows = [(f"t{t}", r, int(t < 5 or r % 3 == 0)) for t in range(10) for r in range(6)]
    return _csv(("taster", "replicate", "correct"), rows)


def in_turn():
    return _csv(("taster", "correct"), [(t + 1, int(t % 4 != 1)) for t in range(20)])


def two_samples():
    choices = ["plain"] * 9 + ["with dashi"] * 21 + ["no preference"] * 5
    return _csv(("taster", "choice"), [(t + 1, one) for t, one in enumerate(choices)])


def pairs_of_four(tasters=8):
    rng = np.random.default_rng(2)
    strength = {"plain": 0.0, "with dashi": 1.2, "old crop": -1.0, "steamed": 0.2}
    names = list(strength)
    rows = []
    for t in range(tasters):
        for i, a in enumerate(names):
            for b in names[i + 1 :]:
                won = rng.random() < 1 / (1 + np.exp(strength[b] - strength[a]))
                rows.append((f"t{t + 1}", a if won else b, b if won else a))
    return _csv(("taster", "winner", "loser"), rows)


def a_not_a():
    served = ["A"] * 20 + ["not A"] * 20
    said = ["A"] * 15 + ["not A"] * 5 + ["A"] * 6 + ["not A"] * 14
    return _csv(("served", "answer"), zip(served, said, strict=True))


def same_different():
    served = ["different"] * 20 + ["same"] * 20
    said = ["different"] * 12 + ["same"] * 8 + ["different"] * 9 + ["same"] * 11
    return _csv(("served", "answer"), zip(served, said, strict=True))


def ticked(tasters=30):
    rng = np.random.default_rng(8)
    odds = {
        "plain": (0.2, 0.6, 0.3, 0.1),
        "with dashi": (0.7, 0.5, 0.3, 0.1),
        "old crop": (0.2, 0.3, 0.4, 0.6),
    }
    rows = []
    for t in range(tasters):
        for name, chances in odds.items():
            ticks = [int(rng.random() < chance) for chance in chances]
            rows.append(
                (f"t{t + 1}", name, *ticks, round(5 + 1.5 * ticks[0] - 2 * ticks[3] + rng.normal(), 0))
            )
    return _csv(("taster", "sample", "savoury", "sticky", "sweet", "stale", "liking"), rows)


def just_right(tasters=40):
    rng = np.random.default_rng(9)
    rows = []
    for t in range(tasters):
        for name, salt in (("plain", -1.0), ("with dashi", 0.6)):
            salty = int(np.clip(round(3 + salt + rng.normal(0, 0.8)), 1, 5))
            soft = int(np.clip(round(3 + rng.normal(0, 0.8)), 1, 5))
            liking = int(
                np.clip(round(7 - 1.2 * abs(salty - 3) - 0.5 * abs(soft - 3) + rng.normal(0, 1)), 1, 9)
            )
            rows.append((f"t{t + 1}", name, salty, soft, liking))
    return _csv(("taster", "sample", "saltiness", "softness", "liking"), rows)


def cooling():
    rng = np.random.default_rng(7)
    rows = [
        (name, m, round(21 + 64 * np.exp(-rate * m) + rng.normal(0, 0.2), 1))
        for name, rate in (("Steamwell 3", 0.012), ("Kamado No. 7", 0.021))
        for m in (0, 5, 10, 15, 20, 30, 45, 60, 90, 120)
    ]
    return _csv(("unit", "minutes", "temperature"), rows)


def studies():
    rows = [("spring", "triangle", 30, 60), ("autumn", "triangle", 24, 60), ("winter", "tetrad", 40, 60)]
    return _csv(("study", "method", "correct", "n"), rows)


# Kind -> its table, and what it has to be told.
TABLES = {
    "ranking": (ranks, {"order": ("with dashi", "plain", "steamed", "old crop")}),
    "forced-choice": (answers, {"pd_limit": 0.3}),
    "sequential": (in_turn, {"pd_limit": 0.4, "most_tasters": 40}),
    "preference": (two_samples, {}),
    "a-not-a": (a_not_a, {}),
    "same-different": (same_different, {}),
    "check-all": (ticked, {}),
    "just-right": (just_right, {}),
    "cooling": (cooling, {"window": (55.0, 65.0)}),
    "studies": (studies, {}),
}
