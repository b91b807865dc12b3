"""Files as collected for production: whatever names a script names it by its content, and it is there."""

import re
from pathlib import Path

from server import web
from tests.collected import HASHED, collect, imports


def test_every_import_of_a_collected_script_names_one_by_its_content_that_is_there(settings, tmp_path):
    tree = collect(settings, tmp_path / "static") / "web"
    named = [path for path in tree.rglob("*.js") if re.search(HASHED, path.name)]
    assert len(named) == len(list(tree.rglob("*.js"))) / 2  # each once, beside its plain original
    found = [(path, each) for path in named for each in imports(path)]
    wrong = [(path.name, each) for path, each in found if not re.search(HASHED, each)]
    missing = [(path.name, each) for path, each in found if not (path.parent / each).is_file()]
    assert wrong == missing == []
    sources = (Path(web.__file__).parent / "static").rglob("*.js")
    assert len(found) == sum(len(imports(path)) for path in sources) > 40


def test_a_changed_script_gives_a_new_name_to_all_that_import_it(settings, tmp_path):
    source = tmp_path / "source"
    source.mkdir()
    texts = {
        "a": 'import { b } from "./b.js";\n',
        "b": 'import {\n  c,\n} from "./c.js";\n',
        "c": "export const c = 1;\n",
    }

    def names(folder, c):
        for name, text in (texts | {"c": c}).items():
            (source / f"{name}.js").write_text(text)
        settings.STATICFILES_DIRS = [source]
        tree = collect(settings, tmp_path / folder)
        return {path.name for path in tree.glob("*.js") if re.search(HASHED, path.name)}

    first, second = names("one", "export const c = 1;\n"), names("two", "export const c = 2;\n")
    assert len(first) == len(second) == 3 and not first & second
