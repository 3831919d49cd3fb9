"""PortAudio's door, opened when sound is first needed; light, so that a probe of the devices starts fast."""

from types import ModuleType

from listening.errors import SoundError

MISSING = "PortAudio is missing: install it with: sudo apt-get install libportaudio2"


def portaudio() -> ModuleType:
    """The sounddevice module.

    Raises
    ------
    SoundError
        PortAudio is not installed.
    """
    try:
        import sounddevice
    except OSError as error:
        raise SoundError(MISSING) from error
    found: ModuleType = sounddevice
    return found
