"""From a folder of raw files to drafts of the four sheets: ``python -m strainstudy.draft FOLDER``."""
