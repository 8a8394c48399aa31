"""python -m moldprep"""

from .faces.cli import main

main()
