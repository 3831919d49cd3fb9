# %% [markdown]
# # From sounds to a figure and a fit, in a notebook
#
# Everything a command does, `import listening` and `import stats` do on plain data, with the same numbers to the last
# digit. This page is run whenever the documentation is made: what stands below a cell is what it printed.
#
# ## One sound
#
# %%
import listening

bell = listening.measure(SOUNDS / "dome_c-free-1.flac", pascal_per_full_scale=2.83)
print(f"{bell.nmax_sone:.1f} sone, {bell.sharpness_acum:.2f} acum, T60 {bell.t60_s:.2f} s")
# %% [markdown]
# Every metric is an attribute by its key; {doc}`/reference/metrics` lists them. Without a calibration the sone, phon and
# acum values are `None`, and `bell.reasons` says why. The partials are a table:
# %%
partials = listening.partials(SOUNDS / "dome_c-free-1.flac", pascal_per_full_scale=2.83).to_frame()
partials[["frequency_hz", "level_db", "t60_s", "t60_se_s"]].head(5).round(3)
# %% [markdown]
# ## A study
#
# `listening.open` takes a folder that `listening new` made. No key is opened by looking at it.
# %%
study = listening.open(FOLDER)
print(study.check().cautions[0].text())
# %%
measures = study.measure()
measures.groupby("condition")[["laf_max_db", "centroid_hz", "t60_s"]].mean().round(2)
# %% [markdown]
# A figure is any library's business; units stand in the names of the columns.
# %%
import matplotlib.pyplot as plt

figure, axes = plt.subplots(figsize=(5, 3.2))
for condition, strikes in measures.groupby("condition"):
    axes.plot(strikes["centroid_hz"], strikes["t60_s"], "o", label=condition)
axes.set(xscale="log", xlabel="spectral centroid, Hz", ylabel="T60 of the strongest partials, s")
axes.legend(fontsize=7)
figure.tight_layout()
SAVE(figure, "centroid and ringing of each strike")
# %% [markdown]
# ## A panel
#
# Here nobody listened: the panel is simulated, and every table says so. With people, `listening sit` stands between
# `deal` and `analyse`.
# %%
study.prepare()
study.deal(open_seed=7)
study.simulate(seed=3)
found = study.analyse()
found.verdicts
# %% [markdown]
# `analyse` unblinds (opens the key), and the opening is logged as by the command. Planned questions alone have verdicts; what follows
# describes.
#
# ## A fit
#
# `stats.fit_pairs` takes a data frame with the columns `first`, `second` and `answer`, as `listening fit pairs` takes a
# CSV file.
# %%
import stats

answers = study.answers()
answers = answers[answers["role"] == "study"]
pairs = answers[["listener"]].assign(
    first=answers["condition_first"],
    second=answers["condition_second"],
    answer=answers["chosen"].map({1.0: "first", 0.0: "second", 0.5: "tie"}),
)
print(stats.fit_pairs(pairs, ties="davidson" if (pairs["answer"] == "tie").any() else None).summary())
# %%
stats.fit_counts(task="triangle", correct=20, trials=40).to_frame().round(3)
# %% [markdown]
# What a person can mend is a `listening.ListeningError`: where, found, wanted, what to do.
# %%
try:
    stats.fit_counts(task="triangle", correct=50, trials=40)
except listening.ListeningError as error:
    print(error)
