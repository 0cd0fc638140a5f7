"""Run every example, draw what it gives, and write the gallery; then rewrite the tools' pages.

python docs/gallery/make.py && python -m toolbox.describe docs
"""

import json
import tempfile
from io import BytesIO
from pathlib import Path
from typing import Any

from chart import chart
from draw import draw, shrink
from PIL import Image
from run import Example, prepare, run
from tell import read_result, tell

from toolbox.catalogue import by_chapter
from toolbox.cli import main
from toolbox.formats.picture_file import picture_bytes
from toolbox.layers import Table

HERE = Path(__file__).resolve().parent
SHOWN, PAGE = HERE / "shown.json", HERE / "index.md"


def show(example: Example, folder: Path) -> dict[str, Any]:
    """Draw the result of an example, and return what its page says."""
    written = folder / example.out
    result = read_result(example.tool, written)
    told = {"command": example.command, "caption": example.caption, **tell(result)}
    told["picture"] = f"{example.tool}.png"
    picture = HERE / told["picture"]
    if result is None:
        shrink(Image.open(written), picture)
    elif isinstance(result, Table):
        drawn = picture_bytes(chart(result.frame, example.chart, folder))
        shrink(Image.open(BytesIO(drawn)), picture)
    else:
        draw(result, example.read, picture)
    return told


def carry_out(words: list[str]) -> None:
    """Run a command, which must succeed."""
    if main(words):
        raise SystemExit(f"failed: {' '.join(words)}")


def gallery(shown: dict[str, dict[str, Any]]) -> str:
    """Write the page of all pictures."""
    parts = [HEAD]
    for chapter, own in by_chapter().items():
        named = {tool.name: tool.title for tool in own}
        here = {tool.name: shown[tool.name] for tool in own if tool.name in shown}
        parts.append(f"## {chapter}")
        for name, told in here.items():
            parts.append(
                f"[![{told['caption']}]({told['picture']})](../tools/{name}.md)\n"
                f"*{told['caption']}: [{named[name]}](../tools/{name}.md).*"
            )
    return "\n\n".join(parts) + "\n"


HEAD = """# Gallery

One example of each tool, on [Figment Mere](../sample.md), an invented lake. Each picture shows what
the command on the tool's page gave, as a map or as a chart of its table; the tests run them all
again. Click a picture for its command and the figures. To make them yourself:
`python docs/gallery/make.py`."""


def make() -> None:
    """Do it all."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        prepare(folder)
        shown = {example.tool: show(example, folder) for example in run(folder, carry_out)}
    text = json.dumps(shown, indent=1, ensure_ascii=False)
    SHOWN.write_text(text + "\n", encoding="utf-8")
    PAGE.write_text(gallery(shown), encoding="utf-8")


if __name__ == "__main__":
    make()
