"""What the commands share: options, standard output and error, reading and stopping, files that are written."""
