"""A page writes its days as its reader chose: no template has a form of its own for them."""

import re

import pytest

from tests.architecture.source import ROOT, relative

TEMPLATES = sorted((ROOT / "server/web/templates").rglob("*.html"))
# What programs read, and no person: addresses, values of fields, moments for machines and scripts.
FOR_PROGRAMS = re.compile(r"""\s(datetime|value|href|action|min|max|data-[\w-]+)=("[^"]*"|'[^']*')""")
BY_TEMPLATE = re.compile(r"""\|\s*date\b(?::\s*("[^"]*"|'[^']*'))?|\bisoformat\b""")
TIME_ALONE = re.compile(r"[GHgiPAas:. ]+")


def own_forms(template: str) -> list[str]:
    """Where a template itself says how a day is written, outside what programs read."""
    found = BY_TEMPLATE.finditer(FOR_PROGRAMS.sub("", template))
    return [each[0] for each in found if not TIME_ALONE.fullmatch((each[1] or "").strip("'\""))]


def test_no_page_writes_a_day_in_a_form_that_its_reader_did_not_choose():
    found = {relative(path): own_forms(path.read_text()) for path in TEMPLATES}
    assert len(found) > 100
    assert {path: forms for path, forms in found.items() if forms} == {}


@pytest.mark.parametrize(
    "template",
    [
        '<td>{{ day|date:"Y-m-d" }}</td>',
        "<time datetime=\"{{ day|date:'Y-m-d' }}\">{{ day|date:'Y-m-d' }}</time>",
        '{% blocktranslate with day=round.walked_on|date:"DATE_FORMAT" %}since {{ day }}{% endblocktranslate %}',
        "<button aria-label=\"{{ day|date:'j F' }}\"></button>",
        "{{ day|date }} {{ at|timezone:zone|date:'H:i' }}",
        "{{ day.isoformat }}",
    ],
)
def test_a_form_of_its_own_is_found(template):
    assert len(own_forms(template)) == 1


def test_what_programs_read_and_a_time_alone_are_no_days_of_a_page():
    field = '<input type="date" value="{{ day|date:\'Y-m-d\' }}" max="{{ today|date:\'Y-m-d\' }}">'
    assert own_forms(field + "<a href=\"?week={{ week|date:'Y-m-d' }}\">{{ week|week_of }}</a>") == []
    assert own_forms('{{ at|date:"H:i" }} <time datetime="{{ at|date:\'c\' }}">{{ at|full_moment }}</time>') == []
