"""`python -m beltside` is the command `beltside`."""

from beltside.cli.main import main

if __name__ == "__main__":
    main()
