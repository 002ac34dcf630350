"""Draw the picture in README.md from the demo piece: ``python scripts/render_demo_picture.py``."""

import subprocess
import sys
import tempfile
from pathlib import Path

from environment import ROOT, ensure

PICTURE = ROOT / "scripts" / "fennick" / "fennick-light.png"
SIZE = (1600, 960)


def draw() -> None:
    """Build the demo piece finely and write the picture of it standing."""
    from fennick.__main__ import SPEC
    from fennick.models import write_models

    from medalcore import build, read_spec
    from medalcore.deliver.png import write_png
    from medalcore.render.picture import standing

    with tempfile.TemporaryDirectory() as folder:
        write_models(Path(folder))
        spec = Path(folder) / SPEC.name
        spec.write_bytes(SPEC.read_bytes())
        medal = build(read_spec(spec))
    write_png(PICTURE, standing(medal, size=SIZE), overwrite=True)
    print(PICTURE)


def main() -> int:
    """Run `draw` in the project's own environment; return the exit status."""
    if "--here" in sys.argv[1:]:
        draw()
        return 0
    return subprocess.call([str(ensure()), __file__, "--here"], cwd=str(ROOT / "scripts"))


if __name__ == "__main__":
    sys.exit(main())
