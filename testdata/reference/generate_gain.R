# Prints the computed numbers of gain-*.json, stats-two-groups.json,
# stats-counts.json and wear-acceleration.json, to compare with the files.
# Run: Rscript generate_gain.R   (base R, no packages; made for R 4.2.2)
options(digits = 10)
show <- function(name, ...) cat(name, ":", ..., "\n")

# Student 1908
with(split(sleep$extra, sleep$group), {
  w <- t.test(`1`, `2`)
  p <- t.test(`1`, `2`, paired = TRUE)
  show("sleep welch", w$statistic, w$parameter, w$p.value, w$conf.int)
  show("sleep paired", p$statistic, p$parameter, p$p.value, p$conf.int)
})

# Efron and Tibshirani 1993
treatment <- c(94, 197, 16, 38, 99, 141, 23)
control <- c(52, 104, 146, 10, 50, 31, 40, 27, 46)
w <- t.test(treatment, control)
se <- function(x) sd(x) / sqrt(length(x))
show("mouse", w$estimate, se(treatment), se(control), w$stderr, w$parameter, w$conf.int, w$p.value)
n <- length(treatment)
share <- diff(pbinom((n - 1) / 2, n, (0:n) / n, lower.tail = FALSE))
s <- sort(treatment)
show("mouse bootstrap", se(treatment) * sqrt((n - 1) / n), sqrt(sum(share * s^2) - sum(share * s)^2))
show("mouse median shares", share[1:4])

# Fleming and Wallace 1986
m <- cbind(r = c(417, 83, 66, 39449, 772), m = c(244, 70, 153, 33527, 368), z = c(134, 70, 135, 66000, 369))
for (base in c("r", "m")) {
  q <- m / m[, base]
  show("over", base, "arithmetic", colMeans(q), "geometric", exp(colMeans(log(q))))
}
show("totals", colSums(m))
show("m over r", exp(t.test(log(m[, "m"] / m[, "r"]))$conf.int))

# Counts and shares
for (k in c(0, 1, 2, 3, 5, 10)) {
  show("poisson", k, poisson.test(k)$conf.int, poisson.test(k, conf.level = 0.9)$conf.int)
}
for (mean in c(3, 7.5)) {
  inside <- sapply(0:200, function(k) {
    ci <- poisson.test(k)$conf.int
    ci[1] <= mean && mean <= ci[2]
  })
  show("coverage", mean, sum(dpois((0:200)[inside], mean)))
}
for (kn in list(c(0, 20), c(1, 20), c(5, 100), c(0, 30))) {
  show("exact share", kn, binom.test(kn[1], kn[2])$conf.int)
}
for (kn in list(c(1, 10), c(5, 100))) {
  show("score share", kn, prop.test(kn[1], kn[2], correct = FALSE)$conf.int)
}
show("jeffreys 5/100", qbeta(c(0.025, 0.975), 5.5, 95.5))
show("one-sided", 1 - 0.05^(1 / c(20, 300)))
show("poisson upper", qchisq(c(0.95, 0.5, 0.8, 0.95), 2 * c(0, 1, 2, 10) + 2) / 2)

# Wear
af <- function(ea, from, to, k = 8.617333262e-5, zero = 273.15) exp(ea / k * (1 / (from + zero) - 1 / (to + zero)))
show("old constants", af(c(0.5, 1), 25, 125, 1 / 11605, 273.16))
show("codata", af(c(0.5, 1), 25, 125), af(0.7, c(60, 70, 80, 90), c(70, 80, 90, 100)), af(0.7, 60, 90), af(c(0.5, 0.9), 60, 70))
show("black", 1.1^-2, 1.1^-1.1, 1.2^-2 / af(0.9, 70, 80))
show("power law", (1.25 / 1.30)^c(20, 30, 40, 48))
show("exponential", exp(-c(10, 15, 20) * 0.05))
