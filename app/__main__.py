"""`python -m app`."""

import sys

from app.web.commands import main

sys.exit(main())
