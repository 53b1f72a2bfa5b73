"""One sensor on the bench: cycles, holds and taps found, the figures of merit that a paper prints, and its health."""
