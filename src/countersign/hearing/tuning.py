"""Every number of hearing that was found by trying, in one place.

Costs are natural negative logarithms on the scale of the acoustic scores. They suit the bundled
acoustic model and are tried again whenever its weights change (``python -m tests.benchmarks`` and
``python -m tests.benchmarks.latency``).
"""

# From path scores to confidence

READINGS = 8
"""Paths asked of the decoder for each utterance."""
SCORE_SCALE = 0.5
"""Path scores are multiplied by this before they become a posterior: the network's scores are
sharper than its errors."""

AMID_TALK = 0.4
"""A word beside talk is talk itself if its probability is below this."""

LEAST_TALK_S = 0.1
"""Talk by itself that is shorter is a single phone heard in a click, a breath or a file's end."""

# The grammar of counting

TALK_PHONE = 3.0
"""Each phone of speech outside the grammar."""
TALK_ENTRY = 3.0
ITEM_ENTRY = 6.0
NUMBER_ENTRY = 4.5
PHRASE_ENTRY = 6.0
LEAD_ENTRY = 5.5
NEXT_NUMBER = 0.3
FIRST_NUMBER = 0.5
OTHER_NUMBER = 4.5
END_OF_SEQUENCE = 0.7
TOTAL = 1.5
OPEN_WORD = 4.5

# Frames of silence

SILENCE_FRAME = 0.05
"""A frame of silence: small, but more than nothing so that paths stay comparable."""
REST_FRAME = 0.1
"""A blank frame inside a word: above silence, so that pauses end words."""

# Streaming

STEP_S = 0.05
"""The decoder is given the sound in steps of this length and looks for a pause after each."""
DECODING: dict[str, str] = {
    "frames-per-chunk": "18",
    "endpoint.rule2.min-trailing-silence": "0.5",
    "endpoint.rule3.min-trailing-silence": "0.8",
    "endpoint.rule4.min-trailing-silence": "1.0",
}
"""Options of Vosk's ``model.conf`` that are set over the model's own. Smaller chunks give words
sooner and cost more; the silences (seconds) end an utterance: rule 2 where the grammar may end with
little doubt, rule 3 where it may end at all, rule 4 anywhere."""
OPEN_DECODING: dict[str, str] = {"frames-per-chunk": "51"}
"""The same for the open graph, which only hears utterances that have ended."""
MARGIN_S = 0.3
"""Sound before and after an utterance that is given to a second decoding."""

# Pauses, by the level of the sound (root mean square of int16 samples)

QUIET_S = 0.45
"""After quiet of this length an utterance ends whose last words may end a line."""
LEVELS_KEPT_S = 3.0
"""The floor and the level of speech are the least and the greatest of so many seconds."""
LEAST_FLOOR = 20.0
"""The floor is taken to be at least this: about -64 dB of full scale."""
QUIET_ABOVE_FLOOR = 3.0
QUIET_BELOW_SPEECH = 0.1
"""Quiet is at most 10 dB above the floor and at least 20 dB below the speech."""

# The gate before the decoder, by the same level

FLOOR_KEPT_S = 10.0
"""The level of the room is the least of so many seconds."""
STIR_ABOVE_FLOOR = 2.0
LEAST_STIR = 8.0
"""Nobody speaks at less than 6 dB above the room, or than about -72 dB of full scale."""
STILL_S = 1.6
"""The gate closes after so long without speech: every rule for the end of an utterance has been met
by then."""
LEAD_S = 0.4
"""Sound before the moment at which the level rises: room for a soft beginning."""
ONSET_S = 0.01
"""That moment is sought with a level of so short a stretch."""

# Utterances that go on with the one before

LONGEST_GAP_S = 3.0
"""After a longer silence an utterance stands by itself."""
CONTEXT_S = 3.0
"""The stretch of sound, context and utterance together, that is heard again at most."""
