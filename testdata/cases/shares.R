# Made shares.json: base R alone (4.2.2). Nine bins of ten plants, three covers. Bins vary
# at least by what chance makes of ten answers.
yes <- c(1, 2, 0, 3, 5, 4, 6, 9, 7); cover <- factor(rep(c("a", "b", "c"), each = 3))
s <- yes / 10; f <- lm(s ~ cover - 1); m <- coef(f); v <- vcov(f)
pair <- function(a, b) {
  g <- numeric(3); g[a] <- 1 / (m[a] * (1 - m[a])); g[b] <- -1 / (m[b] * (1 - m[b]))
  d <- qlogis(m[a]) - qlogis(m[b]); se <- sqrt(max(drop(g %*% v %*% g), sum(g^2 * m * (1 - m) / 10 / 3))); h <- qtukey(0.95, 3, f$df.residual) / sqrt(2) * se
  c(d, se, d - h, d + h)
}
apart <- function(x) { k <- tapply(s, x, mean); c(abs(k[2] - k[1]), abs(k[3] - k[1]), abs(k[3] - k[2])) }
deals <- list()
for (i in asplit(combn(9, 3), 2)) for (j in asplit(combn(setdiff(1:9, i), 3), 2)) {
  x <- rep(3, 9); x[i] <- 1; x[j] <- 2; deals[[length(deals) + 1]] <- x
}
most <- sapply(deals, function(x) max(apart(x)))
p <- sapply(apart(as.integer(cover)), function(own) mean(most >= own - 1e-9))
out <- rbind(pair(2, 1), pair(3, 1), pair(3, 2))
rows <- apply(out, 1, function(r) paste0("[", paste(sprintf("%.15g", r), collapse = ", "), "]"))
cat(paste0('{"yes": [', paste(yes, collapse = ", "), '],\n "pairs": [', paste(rows, collapse = ",\n  "), '],\n "p": [', paste(sprintf("%.15g", p), collapse = ", "), ']}\n'), file = file.path(commandArgs(TRUE)[1], "shares.json"))
