# Linear mixed models by lme4: writes values.csv (case, quantity, value) and version.txt here.
# Run: Rscript make.R, in this folder.
suppressMessages(library(lme4))
options(digits = 17)
rows <- list()
put <- function(case, quantity, value)
  rows[[length(rows) + 1]] <<- data.frame(case = case, quantity = quantity, value = value)

record <- function(case, fit) {
  crit <- if (isREML(fit)) REMLcrit(fit) else deviance(fit)
  put(case, "criterion", as.numeric(crit))
  put(case, "log_likelihood", as.numeric(logLik(fit)))
  vc <- as.data.frame(VarCorr(fit))
  for (i in seq_len(nrow(vc))) {
    name <- paste(na.omit(c(vc$grp[i], vc$var1[i], vc$var2[i])), collapse = "|")
    put(case, paste0("variance:", name), vc$vcov[i])
  }
  se <- sqrt(diag(as.matrix(vcov(fit))))
  for (n in names(fixef(fit))) {
    put(case, paste0("fixed:", n), fixef(fit)[[n]])
    put(case, paste0("se:", n), se[[n]])
  }
}

tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-9, maxfun = 1e5),
                     check.conv.singular = "ignore", calc.derivs = FALSE)
for (reml in c(TRUE, FALSE)) {
  tag <- if (reml) "reml" else "ml"
  go <- function(case, formula, data)
    record(paste(case, tag, sep = "_"), lmer(formula, data, REML = reml, control = tight))
  go("dyestuff", Yield ~ 1 + (1 | Batch), Dyestuff)
  go("dyestuff2", Yield ~ 1 + (1 | Batch), Dyestuff2)
  go("penicillin", diameter ~ 1 + (1 | plate) + (1 | sample), Penicillin)
  go("pastes", strength ~ 1 + (1 | sample) + (1 | batch), Pastes)
  go("sleep", Reaction ~ Days + (Days | Subject), sleepstudy)
  go("sleep_apart", Reaction ~ Days + (1 | Subject) + (0 + Days | Subject), sleepstudy)
  cake$temperature <- factor(cake$temperature, ordered = FALSE)
  go("cake", angle ~ recipe * temperature + (1 | recipe:replicate), cake)
  go("insteval_two", y ~ 1 + (1 | s) + (1 | d), InstEval)
  go("insteval_three", y ~ service + (1 | s) + (1 | d) + (1 | dept:service), InstEval)
}
fit <- lmer(Reaction ~ Days + (Days | Subject), sleepstudy, REML = FALSE, control = tight)
ci <- confint(profile(fit, signames = FALSE))
for (n in rownames(ci)) { put("sleep_profile_ml", paste0(n, ":low"), ci[n, 1]); put("sleep_profile_ml", paste0(n, ":high"), ci[n, 2]) }
fit <- lmer(Yield ~ 1 + (1 | Batch), Dyestuff2, REML = FALSE, control = tight)
ci <- suppressWarnings(confint(profile(fit, signames = FALSE)))
for (n in rownames(ci)) { put("dyestuff2_profile_ml", paste0(n, ":low"), ci[n, 1]); put("dyestuff2_profile_ml", paste0(n, ":high"), ci[n, 2]) }
fit <- lmer(diameter ~ 1 + (1 | plate) + (1 | sample), Penicillin, control = tight)
re <- ranef(fit, condVar = TRUE)
for (g in names(re)) {
  se <- sqrt(attr(re[[g]], "postVar")[1, 1, ])
  for (i in seq_along(se)) {
    put("penicillin_effects", paste(g, rownames(re[[g]])[i], sep = "|"), re[[g]][i, 1])
    put("penicillin_effects", paste("sd", g, rownames(re[[g]])[i], sep = "|"), se[i])
  }
}
write.csv(do.call(rbind, rows), "values.csv", row.names = FALSE)
writeLines(c(R.version.string, paste("lme4", packageVersion("lme4")), date()), "version.txt")
