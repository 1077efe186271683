"""``python -m calib`` is the command ``cupledger``."""

from calib.cli.main import main

if __name__ == "__main__":
    main()
