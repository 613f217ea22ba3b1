"""``python -m trackgrade`` is the same program as ``trackgrade``."""

from trackgrade.commands import main

if __name__ == "__main__":
    main()
