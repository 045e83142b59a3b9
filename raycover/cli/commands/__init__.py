"""The commands by sort: options, and whom they call. Nothing heavy is imported here: `--help` must come at once."""
