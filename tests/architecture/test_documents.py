"""What the documents and the lock file say is so."""

import re
import tomllib
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from django.core.management import get_commands

from tests.architecture.source import ROOT

DOCUMENTS = (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md")))
# The registry's own two hosts: a mirror that somebody locked with would be found by nobody else.
PUBLIC_HOSTS = {"pypi.org", "files.pythonhosted.org"}
OWN_FOLDERS = ("server/", "alerts/", "monitoring/", "farms/", "tests/", "docs/", ".ci/")


def name(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def code_spans(path: Path) -> list[str]:
    """Everything set as code: inline, and the lines of fenced blocks."""
    text = path.read_text()
    fenced = re.findall(r"^```\w*\n(.*?)^```", text, re.DOTALL | re.MULTILINE)
    inline = re.findall(r"`([^`\n]+)`", re.sub(r"^```.*?^```", "", text, flags=re.DOTALL | re.MULTILINE))
    return [*inline, *(line for block in fenced for line in block.splitlines())]


@pytest.mark.parametrize("path", DOCUMENTS, ids=name)
def test_every_command_that_a_document_names_is_there(path):
    assert path.exists()
    commands = {found for span in code_spans(path) for found in re.findall(r"manage\.py ([a-z_]+)", span)}
    assert commands - set(get_commands()) == set()


@pytest.mark.parametrize("path", DOCUMENTS, ids=name)
def test_every_file_that_a_document_names_is_there(path):
    spans = [span for span in code_spans(path) if span.startswith(OWN_FOLDERS) and re.fullmatch(r"[\w./-]+", span)]
    assert [span for span in spans if not (ROOT / span).exists()] == []


@pytest.mark.parametrize("path", DOCUMENTS, ids=name)
def test_every_link_inside_the_project_leads_somewhere(path):
    links = [link.partition("#")[0] for link in re.findall(r"\]\(([^)\s]+)\)", path.read_text())]
    inside = [link for link in links if link and not urlsplit(link).scheme]
    assert [link for link in inside if not (path.parent / link).exists()] == []


def test_the_readme_tells_the_two_commands():
    text = (ROOT / "README.md").read_text()
    assert "python3 manage.py demo" in text
    assert "python3 manage.py test" in text


def test_the_lock_file_names_public_hosts():
    addresses = re.findall(r'"(\w+://[^"]+)"', (ROOT / "uv.lock").read_text())
    assert addresses
    assert {urlsplit(address).netloc for address in addresses} == PUBLIC_HOSTS
    assert {urlsplit(address).scheme for address in addresses} == {"https"}


def test_every_locked_package_is_the_registrys_and_has_its_hash():
    packages = tomllib.loads((ROOT / "uv.lock").read_text())["package"]
    for package in packages:
        if package["name"] != "flyround":
            assert set(package["source"]) == {"registry"}
            files = [*package.get("wheels", []), *([package["sdist"]] if "sdist" in package else [])]
            assert files
            assert all(file["hash"].startswith("sha256:") for file in files)
