"""``python -m recommend`` is the same as the ``recommend`` command."""

from recommend.cli import main

if __name__ == "__main__":
    main()
