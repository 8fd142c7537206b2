# The harvest analysis of a made-up trial by R and the packages that people use
# for it, as a peer in speed: harvest.R with partial F, adjusted means, negative
# binomial counts and a mixed model by packages. Exit status 3 where one of them
# is missing.
#   Rscript harvest_packages.R FILE      a table that harvest.R gen has written
packages <- c("car", "emmeans", "MASS", "lme4", "lmerTest")
for (p in packages) if (!suppressPackageStartupMessages(require(p, character.only = TRUE, quietly = TRUE))) quit(status = 3)
d <- transform(read.csv(commandArgs(TRUE)[1]), treatment = factor(treatment), bin = factor(bin))
m <- lm(mass ~ treatment + bin + dli, d)
invisible(Anova(m, type = 2))
invisible(TukeyHSD(aov(mass ~ treatment + bin, d), "treatment"))
invisible(summary(pairs(emmeans(m, "treatment"))))
invisible(summary(glm(shoots ~ treatment + bin + dli, poisson, d)))
invisible(summary(glm.nb(shoots ~ treatment + bin + dli, d)))
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
invisible(anova(lmer(mass ~ treatment + dli + (1 | bin:row), d)))
