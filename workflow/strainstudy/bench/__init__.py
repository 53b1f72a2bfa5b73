"""One sensor on the bench: cycles, holds and taps found, and the figures of merit that a paper prints."""
