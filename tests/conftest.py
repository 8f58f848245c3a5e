"""What tests keep for the next start goes to a folder of their own, never to the user's; Ctrl-C is heard."""

import atexit
import os
import shutil
import signal
import tempfile

if "DIAG_CACHE" not in os.environ:
    folder = tempfile.mkdtemp(prefix="diag-cache-")
    os.environ["DIAG_CACHE"] = folder
    atexit.register(shutil.rmtree, folder, ignore_errors=True)

if (
    signal.getsignal(signal.SIGINT) is signal.SIG_IGN
):  # as in the background of a shell; processes begun here inherit it
    signal.signal(signal.SIGINT, signal.default_int_handler)
