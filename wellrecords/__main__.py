"""The command line as a module: `python -m wellrecords`, where the installed program is not on the path."""

from wellrecords.cli import main

if __name__ == "__main__":
    main()
