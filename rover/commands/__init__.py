"""The commands, one file each: arguments in, sentences and exit codes out."""
