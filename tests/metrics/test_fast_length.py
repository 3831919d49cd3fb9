"""Lengths for the fast Fourier transform, held against SciPy's."""

from scipy import fft

from listening.metrics import fast_length


def test_the_lengths_are_those_of_scipy() -> None:
    lengths = [*range(1, 2000), 48_001, 172_805, 287_999, 1_000_001, 57_600_001]
    assert [fast_length.at_least(n) for n in lengths] == [fft.next_fast_len(n, real=True) for n in lengths]
