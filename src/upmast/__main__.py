"""`python -m upmast`."""

from upmast.cli import main

if __name__ == "__main__":
    main()
