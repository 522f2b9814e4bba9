"""The door: commands, exit codes and progress."""
