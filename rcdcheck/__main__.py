"""`python -m rcdcheck`."""

from rcdcheck.cli import main

if __name__ == "__main__":
    main()
