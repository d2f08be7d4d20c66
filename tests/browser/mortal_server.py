"""A server process that can be made to die as by kill -9, after committing an answer and before acknowledging it.

Usage: python mortal_server.py ROOT FOLDER PORT. It dies at the first send once FOLDER/die exists.
"""

import os
import signal
import sys
import types
from pathlib import Path


def main() -> None:
    root, folder, port = sys.argv[1], Path(sys.argv[2]), int(sys.argv[3])
    tests = types.ModuleType("tests")  # a package of that name may be installed beside us
    tests.__path__ = [f"{root}/tests"]
    sys.modules["tests"] = tests
    sys.path.insert(0, root)
    import uvicorn

    from tests.web.taster_app import taster_app

    inner = taster_app(folder)
    order = folder / "die"

    async def mortal(scope, receive, send):
        async def send_or_die(message):
            if order.exists() and scope.get("method") == "POST":
                order.unlink()
                os.kill(os.getpid(), signal.SIGKILL)
            await send(message)

        await inner(scope, receive, send_or_die)

    uvicorn.run(mortal, host="127.0.0.1", port=port, log_level="error", ws="none")


if __name__ == "__main__":
    main()
