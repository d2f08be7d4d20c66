"""A process that records answers and can kill itself as by kill -9, after a commit and before saying so.

Usage: python mortal_recorder.py ROOT URL STUDY ACKNOWLEDGED ATTEMPT... It prints each send once it is committed, and
dies after the commit that follows ACKNOWLEDGED of them.
"""

import os
import signal
import sys
import types


def main() -> None:
    root, url, study_id, die_after, *attempts = sys.argv[1:]
    tests = types.ModuleType("tests")  # a package of that name may be installed beside us
    tests.__path__ = [f"{root}/tests"]
    sys.modules["tests"] = tests
    sys.path.insert(0, root)
    from panel.store.database import Database
    from panel.store.sealing import Sealed
    from tests.store.rice_study import Rice

    rice = Rice(Database(url), study_id, Sealed("", ""))
    sends = [(attempt, screen) for attempt in attempts for screen in (1, 2)]
    for number, (attempt, screen) in enumerate(sends):
        rice.answer(attempt, screen, f"{attempt}.{screen}")
        if number == int(die_after):
            os.kill(os.getpid(), signal.SIGKILL)
        sys.stdout.write(f"{attempt}.{screen}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
