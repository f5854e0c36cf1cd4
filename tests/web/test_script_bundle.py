"""Scripts that reach the phone in one piece."""

from __future__ import annotations

import pytest

from web.bundle import BundleError, bundled


def test_modules_keep_their_own_names_and_see_only_what_they_import(phone, server):
    sources = {
        "a.js": 'import { twice as double, ONE } from "./b.js";\nimport { note } from "./c.js";\n'
        "const hidden = 5;\nnote(double(ONE) + hidden);\n",
        "b.js": "const hidden = 2;\nexport const [ONE, TWO] = [1, 2];\n"
        "export function twice(x) {\n  return x * hidden;\n}\n",
        "c.js": 'import { TWO } from "./b.js";\nexport class Kept {}\n'
        "export async function note(x) {\n  document.title = `${x} ${TWO} ${typeof hidden}`;\n}\n",
    }
    text = bundled("a.js", sources)
    assert text.count("// b.js") == 1 and text.index("// b.js") < text.index("// c.js") < text.index("// a.js")
    phone.goto(server.url + "healthz")
    phone.evaluate(f"() => {{ {text} }}")
    assert phone.title() == "7 2 undefined"


@pytest.mark.parametrize(
    ("sources", "names"),
    [
        ({"a.js": 'import { x } from "./gone.js";\n'}, "gone.js"),
        ({"a.js": 'import { x } from "./b.js";\n', "b.js": 'import { y } from "./a.js";\n'}, "itself"),
        ({"a.js": 'import { x } from "./b.js";\n', "b.js": "export default 5;\n"}, "export default 5"),
        (
            {"a.js": 'import * as b from "./b.js";\nimport { x } from "./b.js";\n', "b.js": "export const x = 1;\n"},
            "import *",
        ),
    ],
)
def test_what_is_written_otherwise_is_named(sources, names):
    with pytest.raises(BundleError) as refused:
        bundled("a.js", sources)
    assert names in str(refused.value) and "\n" not in str(refused.value)


def test_a_page_asks_for_one_script_beside_the_theme(phone, server, port):
    asked = []
    phone.on("request", lambda request: asked.append(request.url.rsplit("/", 1)[-1]))
    phone.goto(server.url)
    phone.wait_for_selector("html[data-live=yes]")
    assert sorted(name for name in asked if name.endswith(".js")) == ["live.js", "theme.js"]
