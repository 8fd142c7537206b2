# The fits of a wide flat table by base R alone, as a peer in speed: partial F and
# simultaneous comparisons of a measure, a count and a yes or no, each beside bins and
# light. No permutations, curves, checks or exact pairs: less than the command gives.
#   Rscript harvest_wide.R FILE         three outcomes
#   Rscript harvest_wide.R FILE pairs   the measure alone, all pairs of levels
a <- commandArgs(TRUE)
d <- read.csv(a[1], stringsAsFactors = TRUE)
m <- aov(mass ~ bin + dli + g, d)
invisible(drop1(m, test = "F"))
invisible(TukeyHSD(aov(mass ~ bin + g, d), "g"))
if (length(a) > 1) quit()
for (fit in list(glm(shoots ~ bin + dli + g, quasipoisson, d), glm(lost ~ bin + dli + g, binomial, d))) {
  invisible(drop1(fit, test = "Chisq"))
  invisible(summary(fit))
}
