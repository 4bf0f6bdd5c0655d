# Cumulative-link mixed models by ordinal (and glmer for two levels): writes values.csv, version.txt.
# Run: Rscript make.R, in this folder.
suppressMessages({library(lme4); library(ordinal)})
options(digits = 17)
rows <- list()
put <- function(case, quantity, value)
  rows[[length(rows) + 1]] <<- data.frame(case = case, quantity = quantity, value = value)
record <- function(case, fit) {
  put(case, "log_likelihood", as.numeric(logLik(fit)))
  tab <- coef(summary(fit))
  for (n in rownames(tab)) { put(case, paste0("coef:", n), tab[n, 1]); put(case, paste0("se:", n), tab[n, 2]) }
  if (!is.null(fit$ST)) for (g in names(VarCorr(fit))) {
    v <- VarCorr(fit)[[g]]
    put(case, paste0("variance:", g), v[1, 1])
    if (nrow(v) > 1) { put(case, paste0("variance_slope:", g), v[2, 2]); put(case, paste0("correlation:", g), v[1, 2] / sqrt(v[1, 1] * v[2, 2])) }
  }
}
ctl <- clmm.control(gradTol = 1e-6)
data(wine); data(soup)
record("wine_fixed", clm(rating ~ temp + contact, data = wine))
record("wine_fixed_probit", clm(rating ~ temp + contact, data = wine, link = "probit"))
record("wine_thresholds_by", clm(rating ~ temp, nominal = ~ contact, data = wine))
record("wine_scale", clm(rating ~ contact, scale = ~ temp, data = wine))
record("wine_laplace", clmm(rating ~ temp + contact + (1 | judge), data = wine, control = ctl))
record("wine_probit", clmm(rating ~ temp + contact + (1 | judge), data = wine, link = "probit", control = ctl))
record("wine_agq10", clmm(rating ~ temp + contact + (1 | judge), data = wine, nAGQ = 10, control = ctl))
record("wine_slope", clmm(rating ~ temp + contact + (1 + temp | judge), data = wine, control = ctl))
record("wine_crossed", clmm(rating ~ temp + contact + (1 | judge) + (1 | bottle), data = wine, control = ctl))
record("soup_one", clmm(SURENESS ~ PRODID + (1 | RESP), data = soup, control = ctl))
record("soup_probit", clmm(SURENESS ~ PRODID + (1 | RESP), data = soup, link = "probit", control = ctl))
record("soup_agq7", clmm(SURENESS ~ PRODID + (1 | RESP), data = soup, nAGQ = 7, control = ctl))
record("soup_nested", clmm(SURENESS ~ PRODID + (1 | RESP) + (1 | RESP:PROD), data = soup, control = ctl))
m <- clmm2(rating ~ temp, random = judge, scale = ~ contact, data = wine, Hess = TRUE, nAGQ = 1)
put("wine_random_scale", "log_likelihood", as.numeric(logLik(m)))
put("wine_random_scale", "coef:tempwarm", m$beta[[1]])
put("wine_random_scale", "log_scale:contactyes", m$zeta[[1]])
for (i in seq_along(m$Theta)) put("wine_random_scale", paste0("theta:", i), m$Theta[i])
put("wine_random_scale", "sd", as.numeric(m$stDev))
m <- clmm2(rating ~ temp, random = judge, nominal = ~ contact, data = wine, Hess = TRUE, nAGQ = 1)
put("wine_random_thresholds_by", "log_likelihood", as.numeric(logLik(m)))
for (i in seq_along(m$Theta)) put("wine_random_thresholds_by", paste0("theta:", i), m$Theta[i])
put("wine_random_thresholds_by", "sd", as.numeric(m$stDev))
for (link in c("logit", "probit")) {
  g <- glmer(r2 ~ Anger + Gender + btype + situ + (1 | id) + (1 | item), VerbAgg, family = binomial(link),
             control = glmerControl(optimizer = "bobyqa", tolPwrss = 1e-10, optCtrl = list(rhoend = 1e-9, maxfun = 1e5)))
  case <- paste0("verbagg_", link)
  put(case, "log_likelihood", as.numeric(logLik(g)))
  for (n in names(fixef(g))) { put(case, paste0("coef:", n), fixef(g)[[n]]); put(case, paste0("se:", n), sqrt(vcov(g)[n, n])) }
  for (n in c("id", "item")) put(case, paste0("variance:", n), VarCorr(g)[[n]][1, 1])
}
write.csv(do.call(rbind, rows), "values.csv", row.names = FALSE)
writeLines(c(R.version.string, paste("lme4", packageVersion("lme4")), paste("ordinal", packageVersion("ordinal")), date()), "version.txt")
