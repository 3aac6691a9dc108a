"""Small trials with a known dose-response, drawn again and again."""

import numpy as np
import pandas as pd


def trial(rng, truth, doses, doughs, pieces=4, sd_dough=0.8, sd_piece=1.2):
    """Doughs mixed at each dose, pieces of each; truth gives the mean at a dose.

    rng : numpy Generator
    doses : sequence of float
    doughs : int, at each dose
    """
    dose = np.repeat(np.asarray(doses, float), doughs)
    dough = np.arange(len(dose))
    height = truth(dose) + rng.normal(0, sd_dough, len(dose))
    return pd.DataFrame(
        {
            "dough": np.repeat(dough, pieces),
            "malt_percent": np.repeat(dose, pieces),
            "rise_height_mm": np.repeat(height, pieces)
            + rng.normal(0, sd_piece, len(dose) * pieces),
        }
    )


def within(hits, tries, level, chance=1e-4):
    """Whether a count of hits is what `level` allows: two-sided, false alarm at most `chance`."""
    from scipy import stats

    low, high = stats.binom.ppf([chance / 2, 1 - chance / 2], tries, level)
    return low <= hits <= high
