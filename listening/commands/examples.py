"""Examples of each command, shown at the end of its help; a test reads every one with its parser."""

EXAMPLES: dict[str, tuple[tuple[str, str], ...]] = {
    "new": (
        ("listening new bells", "a few questions, then a commented protocol"),
        ("listening new bells --from protocols/bells.toml", "start the study `bells` from a protocol"),
    ),
    "schema": (
        ("listening schema --out protocol.schema.json", "for an editor that completes keys"),
        ("listening schema --page", "every key explained"),
    ),
    "rehearse": (
        ("listening rehearse bells", "200 studies as hoped and 200 with nothing true"),
        (
            "listening rehearse bells --drop-outs 0.1 --sites 2 --runs 500",
            "two laboratories, one in ten stops",
        ),
    ),
    "pilot": (("listening pilot pilot_study", "spreads, and the panel that the main study needs"),),
    "deposit": (("listening deposit bells --with 'the notary'", "the frozen plan as one page"),),
    "check": (("listening check bells", "name every problem before anything is measured"),),
    "measure": (
        ("listening measure bells", "measure all recordings of the study"),
        ("listening measure ring.wav --pascal-per-full-scale 20", "measure one file of known level"),
    ),
    "compare": (
        (
            "listening compare free*.wav --with held*.wav --names free,held",
            "what is lost in level, energy, brightness and ring, partial by partial",
        ),
        ("listening compare a.wav b.wav --with c.wav d.wav --json", "the same as one JSON document"),
    ),
    "picture": (
        ("listening picture ring.wav", "ring.svg: waveform, spectrogram, partials, decay, loudness, bands"),
        ("listening picture free.wav held.wav --out both.png", "side by side, on common scales"),
    ),
    "prepare": (("listening prepare bells", "make matched stimuli and measure them again"),),
    "deal": (
        ("listening deal bells", "freeze protocol, orders and key; code the clips"),
        ("listening deal bells --keyholder", "the key under a second person's pass phrase"),
        ("listening deal bells --again 'one strike was mislabelled'", "a new version; the old one is kept"),
    ),
    "amend": (
        ("listening amend bells --dry-run", "what the changed protocol.toml would change, and what not"),
        ("listening amend bells 'a word of the title was misspelt'", "change it; every answer is kept"),
    ),
    "size": (
        ("listening size bells --effect share=0.75", "how many listeners find 75 % choices"),
        ("listening size bells --jobs tcp://10.0.0.5:8786", "the same on a Dask scheduler"),
    ),
    "sit": (
        ("listening sit bells", "a new listener at the next free place"),
        ("listening sit bells --listener K7PQX", "this listener goes on where they stopped"),
    ),
    "devices": (
        ("listening devices", "list the sound outputs"),
        ("listening devices --test 3", "a soft tone left, right, both on output 3"),
    ),
    "calibrate": (
        ("listening calibrate bells --play --side left", "play the signal for the meter"),
        (
            "listening calibrate bells --side left --reading 84.2 --headphones HP1 --coupler 'IEC 60318-1'",
            "store what the meter showed",
        ),
    ),
    "station": (("listening station bells carried", "plan and clips alone, to seat people elsewhere"),),
    "room": (
        (
            "listening room bells --noise-db 24 --temperature-c 21 --light dim --noted-by AB",
            "what the assistant finds this morning",
        ),
    ),
    "desk": (("listening desk bells --watch", "look again every two seconds"),),
    "withdraw": (("listening withdraw bells K7PQX --yes", "remove this listener beyond recovery"),),
    "simulate": (
        ("listening simulate bells --listeners 24 --seed 1", "24 made-up listeners, marked as such"),
    ),
    "analyse": (
        ("listening analyse bells", "open the key and decide the planned questions"),
        ("listening analyse bells --interim", "look before the planned end; logged and reported"),
    ),
    "report": (
        ("listening report bells", "write bells/report/report.html"),
        ("listening report bells --pdf", "the same page on paper, too"),
    ),
    "predict": (
        (
            "listening predict bells dome_g.wav --attribute ringing --pascal-per-full-scale 20",
            "how long it would be heard to ring",
        ),
    ),
    "claim": (
        (
            "listening claim 'Dome B (hung free) sounds louder than dome A (hung free).' bells",
            "whether it may be printed, and the sentence that comes nearest",
        ),
        ("listening claim --file leaflet.docx bells", "every sentence of a copy that goes out"),
    ),
    "export": (
        ("listening export bells", "CSV tables, a dictionary and a recipe in bells/export"),
        ("listening export bells --to elsewhere --format json", "the same as JSON"),
    ),
    "verify": (("listening verify bells", "hashes, findings and page once more from the data"),),
    "booths": (
        ("listening booths bells --server postgresql://db.example/bells", "publish the study, as the owner"),
        ("listening booths bells --sql", "print the SQL of functions and roles"),
        ("listening booths bells --send", "send what this booth kept while the server was away"),
    ),
    "copy": (
        ("listening copy bells postgresql://db.example/bells", "onto a server that several booths share"),
        ("listening copy postgresql://db.example/bells kept.sqlite", "back into one file"),
    ),
    "merge": (
        ("listening merge bells north --site north --own-site south", "two sites with their own slots"),
        ("listening merge bells north --site north --keep-apart", "both used slot 1: kept apart by site"),
    ),
    "demo": (("listening demo demo_study", "the whole walk on the bicycle bells"),),
    "import": (
        ("listening import answers.csv old_test", "findings of a table; then: listening report old_test"),
        ("listening import counts.csv old_test --about about.toml", "with names, wording and questions"),
    ),
    "fit": (
        ("listening fit pairs answers.csv", "strengths from a table of paired comparisons"),
        (
            "listening fit counts --task triangle --correct 17 --trials 36",
            "what a count of right answers says",
        ),
        (
            "listening fit verdict answers.csv --more b --than a --kind more --smallest 0.60",
            "what direct comparisons of b with a decide",
        ),
    ),
    "completion": (("listening completion bash >> ~/.bash_completion", "complete words with the Tab key"),),
}


def epilog(command: str) -> str:
    """The examples of a command as the last part of its help."""
    lines = [f"  {line}\n      {what}" for line, what in EXAMPLES.get(command, ())]
    return "examples:\n" + "\n".join(lines) if lines else ""
