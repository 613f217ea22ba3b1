"""``python -m trackgrade`` is the same program as ``trackgrade``."""

import sys

try:
    from trackgrade.commands import main
except KeyboardInterrupt:  # Ctrl-C before the program could begin: as quiet as after
    sys.exit(130)

if __name__ == "__main__":
    main()
