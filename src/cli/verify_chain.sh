prev=$(printf %064d 0)
cat *.jsonl | {
  while IFS= read -r line; do
    case $line in *'"prev":"'$prev'"'*) ;; *) echo "broken before $line"; exit 1 ;; esac
    prev=$(printf %s "$line" | sha256sum | cut -c 1-64)
  done
  echo "holds; last $prev"
}
