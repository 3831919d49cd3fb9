# Makes the tables of linear_mixed.toml that say so: R 4.2.2, lme4 1.1-31, lmerTest 3.1-3, pbkrtest 0.5.2, ordinal 2022.11-16.
# Run in this folder: Rscript ratings_reference.R
suppressMessages({library(lme4); library(lmerTest); library(pbkrtest); library(ordinal)})
exact <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10, maxfun = 1e6), check.conv.singular = "ignore")
show <- function(name, model, kenward_roger = TRUE) {
  cat("==", name, "\n")
  print(coef(summary(model)), digits = 15)
  print(as.data.frame(VarCorr(model))[, c("grp", "var1", "var2", "sdcor")], digits = 15)
  cat("logLik", format(as.numeric(logLik(model)), digits = 15), "\n")
  if (!kenward_roger) return(invisible())
  adjusted <- vcovAdj(model)
  for (j in seq_along(fixef(model))) {
    l <- replace(numeric(length(fixef(model))), j, 1)
    cat("Kenward-Roger", names(fixef(model))[j], format(sqrt(adjusted[j, j]), digits = 15),
        format(Lb_ddf(l, vcov(model), adjusted), digits = 15), "\n")
  }
}
sleep <- read.csv("sleepstudy.csv")
place <- as.integer(factor(sleep$Subject))
gaps <- sleep[!((1:180) %% 7 == 3 | (place <= 6 & sleep$Days > 5)), ]
gaps$group <- as.integer(as.integer(factor(gaps$Subject)) %% 3 == 0)
show("sleep_gaps", lmer(Reaction ~ Days + group + (Days | Subject), gaps, control = exact))
penicillin <- read.csv("penicillin.csv")
show("penicillin", lmer(diameter ~ 1 + (1 | plate) + (1 | sample), penicillin, control = exact))
show("penicillin_ml", lmer(diameter ~ 1 + (1 | plate) + (1 | sample), penicillin, REML = FALSE, control = exact), FALSE)
pastes <- read.csv("pastes.csv")
show("pastes", lmer(strength ~ 1 + (1 | sample) + (1 | batch), pastes, control = exact))
dyestuff2 <- read.csv("dyestuff2.csv")
show("dyestuff2", lmer(Yield ~ 1 + (1 | Batch), dyestuff2, control = exact), FALSE)
carrots <- transform(read.csv("carrots.csv"), Homesize = factor(Homesize))
show("carrots", lmer(Preference ~ sens1 + sens2 + Homesize + (1 | Consumer) + (1 | Product), carrots, control = exact))
for (spacing in c("symmetric", "equidistant")) {
  model <- clm(rating ~ temp + contact, data = transform(read.csv("wine.csv"), rating = factor(rating)), threshold = spacing)
  cat("==", spacing, "\n"); print(model$beta, digits = 15); print(model$Theta, digits = 15)
  cat("logLik", format(as.numeric(logLik(model)), digits = 15), "\n")
}
for (link in c("logit", "probit", "cloglog")) {
  model <- clm(factor(rating) ~ temp + contact, data = read.csv("wine.csv"), link = link)
  cat("==", link, "\n"); print(coef(summary(model)), digits = 15)
  cat("logLik", format(as.numeric(logLik(model)), digits = 15), "\n")
}
wine_factors <- transform(read.csv("wine.csv"), rating = factor(rating), temp = factor(temp), judge = factor(judge))
nested <- clmm(rating ~ temp + contact + (1 | judge) + (1 | temp:judge), data = wine_factors)
cat("== nested\n"); print(coef(summary(nested)), digits = 15); print(VarCorr(nested), digits = 15)
cat("logLik", format(as.numeric(logLik(nested)), digits = 15), "\n")
