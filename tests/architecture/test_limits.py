"""The limits at which something is split (DEVELOPERS.md): checked here, so that nobody has to argue."""

import statistics

from tests.architecture.source import functions, modules, relative

FUNCTION_LINES = 40
MEDIAN_LINES = 8
MODULE_LINES = 400
MODELS_LINES = 300
PARAMETERS = 6
# A module is named for what it holds.
NAMES_WITHOUT_MEANING = {"utils", "util", "helpers", "helper", "common", "core", "misc"}


def test_no_function_has_more_than_forty_code_lines():
    assert [found for path in modules(tests=True) for found in functions(path) if found.lines > FUNCTION_LINES] == []


def test_no_function_takes_more_than_six_parameters():
    assert [found for path in modules() for found in functions(path) if found.parameters > PARAMETERS] == []


def test_the_median_function_is_short(record_property, capsys):
    lengths = [found.lines for path in modules() for found in functions(path)]
    median = statistics.median(lengths)
    record_property("median_function_lines", median)
    with capsys.disabled():
        print(f"\n{len(lengths)} functions, median {median:g} code lines, longest {max(lengths)}")
    assert median <= MEDIAN_LINES


def test_no_module_has_more_than_four_hundred_lines():
    lengths = {relative(path): len(path.read_text().splitlines()) for path in modules(tests=True)}
    limits = {name: MODELS_LINES if name.endswith("models.py") else MODULE_LINES for name in lengths}
    assert {name: length for name, length in lengths.items() if length > limits[name]} == {}


def test_every_module_is_named_for_what_it_holds():
    named = [relative(path) for path in modules(tests=True)]
    assert [name for name in named if NAMES_WITHOUT_MEANING & set(name.removesuffix(".py").split("/"))] == []
