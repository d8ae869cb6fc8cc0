"""What the command line does: one module a command, each calling one library function."""
