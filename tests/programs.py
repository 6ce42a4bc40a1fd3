"""Outside programs that some tests need: skipped with a reason where absent, a failure where CI has them."""

import os
import shutil

import pytest


def need_program(*names: str) -> str:
    """Return the path of the first of these programs that is installed, or skip the test.

    With ``FORMREAD_NO_SKIPS`` set, as CI does after installing them, a missing program fails the test.
    """
    for name in names:
        path = shutil.which(name)
        if path:
            return path
    reason = f"needs {' or '.join(names)}, which is not installed here"
    if os.environ.get("FORMREAD_NO_SKIPS"):
        pytest.fail(reason)
    pytest.skip(reason)
