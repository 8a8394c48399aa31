"""The whole page on a port of this machine: python -m tests.faces.page.whole_page PORT LIBRARY [FORM]"""

from __future__ import annotations

import sys

from moldprep.faces.cli import main

if __name__ == "__main__":
    main(["page", "--no-browser", "--port", sys.argv[1], "--library", sys.argv[2], *sys.argv[3:]])
