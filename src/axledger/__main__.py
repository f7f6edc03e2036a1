"""Run ``python -m axledger``."""

import sys

from axledger.cli.main import main

sys.exit(main())
