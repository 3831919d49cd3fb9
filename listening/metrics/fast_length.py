"""Lengths that a fast Fourier transform is quick at."""


def at_least(n: int) -> int:
    """The smallest product of 2, 3 and 5 that is `n` (1 or more) or above, as `scipy.fft` finds it.

    Ours because scipy.fft takes a third of a second to import, and `check` needs nothing else of it.
    """
    best = 1 << (n - 1).bit_length()
    five = 1
    while five < best:
        odd = five
        while odd < best:
            best = min(best, odd << (-(-n // odd) - 1).bit_length())
            odd *= 3
        five *= 5
    return best
