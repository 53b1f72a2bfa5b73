"""Where results come from: hashes of code and files, and a description of the run for machines."""
