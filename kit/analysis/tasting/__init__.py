"""Blind tasting: who told what apart, which is liked, and what so few people could have missed.

Each function takes counts or a tidy frame and returns a small frozen result; nothing here knows
records, plots or widgets.
"""

from kit.analysis.tasting.choice import Choice, duo_trio, pair, triangle
from kit.analysis.tasting.consistency import Consistency, consistency
from kit.analysis.tasting.needed import Needed, tasters_needed
from kit.analysis.tasting.ranking import Ranking, ranking
from kit.analysis.tasting.scores import Scores, scores

__all__ = [
    "Choice", "Consistency", "Needed", "Ranking", "Scores", "consistency", "duo_trio", "pair",
    "ranking", "scores", "tasters_needed", "triangle",
]  # fmt: skip
