# The harvest analysis of a made-up trial by base R alone, as a peer in speed:
# partial F, simultaneous comparisons, counts, 10,000 permuted F (all as columns
# of one matrix) and 9,999 permutations of Moran's I. No adjusted means, negative
# binomial, curves or projected residuals: less than the command gives.
#   Rscript harvest.R gen FILE      162 plants, 6 treatments, 2 bins of 9 x 9
#   Rscript harvest.R run FILE
a <- commandArgs(TRUE)
if (a[1] == "gen") {
  set.seed(7)
  d <- expand.grid(col = 1:9, row = 1:9, bin = 1:2)
  d$treatment <- factor(LETTERS[1:6])[c(replicate(27, sample(6)))]
  d$dli <- 14 - 0.25 * ((d$row - 5)^2 + (d$col - 5)^2)^0.75 + rnorm(162, 0, .4)
  eff <- c(0, .4, .8, .2, -.3, 1)[d$treatment]
  d$mass <- round(3 + .45 * d$dli + eff + .3 * (d$bin - 1) + rnorm(162, 0, .8), 2)
  d$shoots <- rnbinom(162, size = 6, mu = exp(.2 + .08 * d$dli + .2 * eff))
  write.csv(d, a[2], row.names = FALSE)
  quit()
}
d <- transform(read.csv(a[2]), treatment = factor(treatment), bin = factor(bin))
m <- lm(mass ~ treatment + bin + dli, d)
invisible(drop1(m, test = "F"))
invisible(TukeyHSD(aov(mass ~ treatment + bin, d), "treatment"))
invisible(summary(glm(shoots ~ treatment + bin + dli, quasipoisson, d)))
set.seed(1)
q1 <- qr(model.matrix(m)); q0 <- qr(model.matrix(~ bin + dli, d))
r <- qr.resid(q0, d$mass); f <- qr.fitted(q0, d$mass)
Y <- f + vapply(1:10000, function(i) sample(r), r)
s0 <- colSums(qr.resid(q0, Y)^2); s1 <- colSums(qr.resid(q1, Y)^2)
cat(mean((s0 - s1) / s1 >= (sum(r^2) - deviance(m)) / deviance(m)), "\n")
W <- (as.matrix(dist(d[c("row", "col")])) < 1.01) * outer(d$bin, d$bin, "==")
diag(W) <- 0
moran <- function(z) length(z) / sum(W) * sum(z * (W %*% z)) / sum(z^2)
z <- resid(m)
cat((1 + sum(replicate(9999, moran(sample(z))) >= moran(z))) / 10000, "\n")
