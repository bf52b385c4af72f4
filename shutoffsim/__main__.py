"""Run the commands as ``python -m shutoffsim``."""

from shutoffsim.cli import main

if __name__ == "__main__":
    main()
