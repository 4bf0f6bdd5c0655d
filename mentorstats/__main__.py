"""Lets the command line be run as ``python -m mentorstats``."""

import sys

from mentorstats.cli import main

sys.exit(main())
