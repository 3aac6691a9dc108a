"""What the verbs of a trial say of themselves: what they take, and what stands in when nothing."""

import re
from importlib import import_module
from inspect import Parameter, getdoc, signature

import pytest

from kit.answering import TrialAnswers

VERBS = ["compare", "dose", "surface", "steadiness", "griddle_map", "bake_chart", "drift"]


@pytest.mark.parametrize("verb", VERBS)
def test_docstring_says_what_is_taken_and_what_stands_in_for_no_outcome(verb):
    method = getattr(TrialAnswers, verb)
    text = " ".join(getdoc(method).split())
    assert "trial's own outcome" in text or "outcome : str, optional The trial's own" in text
    passes_on = any(p.kind is Parameter.VAR_KEYWORD for p in signature(method).parameters.values())
    named = re.findall(r"`(kit\.analysis\.\w+)\.(\w+)`: ([\w, ]+)\.", text)
    assert bool(named) == passes_on
    for module, name, options in named:
        taken = signature(getattr(import_module(module), name)).parameters
        assert set(options.split(", ")) <= set(taken)
