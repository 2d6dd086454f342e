"""A server made to be killed: forked from a process that has everything loaded already.

Each line on standard input starts one: bundle, port and database, as JSON. Its process
id is printed, then ``dead``.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import psycopg  # loaded once here, not by each that is killed
import uvicorn

from tackfree.service.record import DATABASE
from tackfree.web.app import create_app


def main() -> None:
    for line in sys.stdin:
        asked = json.loads(line)
        child = os.fork()
        if child == 0:
            os.close(0)
            os.environ.pop(DATABASE, None)
            if asked["database"]:
                os.environ[DATABASE] = asked["database"]
            bundle = Path(asked["bundle"])
            uvicorn.run(create_app(bundle, bundle), port=asked["port"], log_level="critical")
            os._exit(0)
        print(child, flush=True)
        os.waitpid(child, 0)
        print("dead", flush=True)


assert psycopg.connect
if __name__ == "__main__":
    main()
