"""``python -m posescore``."""

from posescore.cli import main

if __name__ == "__main__":
    main()
