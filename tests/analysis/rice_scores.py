"""Made-up scores of rice, for tests whose answers do not hang on the numbers."""

import numpy as np
import pandas as pd


def scores(tasters=12, samples=3, *, effect=0.0, attributes=("liking",), replicates=1, conditions=1, seed=1):
    """Nine-point scores; each further sample lies `effect` above the one before."""
    rng = np.random.default_rng(seed)
    rows = []
    for attribute in attributes:
        for taster in range(tasters):
            level = rng.normal(0, 1)
            for condition in range(conditions):
                for sample in range(samples):
                    for replicate in range(replicates):
                        value = round(float(np.clip(5 + level + effect * sample + rng.normal(0, 0.8), 1, 9)))
                        rows.append(
                            {
                                "taster": f"t{taster}",
                                "sample": "ABCDEFGH"[sample],
                                "score": float(value),
                                "attribute": attribute,
                                "replicate": str(replicate + 1),
                                "condition": ("plain", "with dashi")[condition],
                                "position": (taster + sample) % samples
                                + 1
                                + samples * (replicate + replicates * condition),
                            }
                        )
    return pd.DataFrame(rows)


def yes_no():
    answers = {"A": "111111110000", "B": "110000000000", "C": "111000000000"}
    return pd.DataFrame(
        [(f"t{i}", name, float(bit)) for name, bits in answers.items() for i, bit in enumerate(bits)],
        columns=["taster", "sample", "score"],
    )
