"""``python -m posescore``."""

from posescore.cli.main import main

if __name__ == "__main__":
    main()
