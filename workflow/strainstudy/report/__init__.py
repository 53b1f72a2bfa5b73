"""Result tables and signals to figures and one self-contained page; knows no raw file and computes no result."""
